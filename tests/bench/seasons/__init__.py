"""An invented school through several seasons, for who orders by what to be compared."""
