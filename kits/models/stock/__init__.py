"""What is on hand: items, their batches, and places where units are."""
