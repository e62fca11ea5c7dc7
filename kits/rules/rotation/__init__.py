"""Which units lie where, so that what goes out of date soon lies where it will be used."""
