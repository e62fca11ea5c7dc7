"""Kits for all trips together, and what is to be known of them."""
