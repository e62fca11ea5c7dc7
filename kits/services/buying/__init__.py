"""What to buy for a season, and what becomes of a filled kit that might be bought."""
