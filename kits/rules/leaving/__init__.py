"""What leaves for others: sold or given away."""
