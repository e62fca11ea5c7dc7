"""What kits are for: what past trips wanted, how often needs come up, and what a list comes to."""
