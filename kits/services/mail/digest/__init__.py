"""The weekly email: what it is made of, and what it says."""
