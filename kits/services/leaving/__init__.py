"""What is sold or given away, from stock or as a whole kit."""
