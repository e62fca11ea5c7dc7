"""What past trips say, and how often needs come up."""
