"""Which batches of a room lie in which kit, and swapping them."""
