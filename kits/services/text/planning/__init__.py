"""What is said of planning."""
