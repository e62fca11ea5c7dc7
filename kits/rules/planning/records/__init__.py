"""What past trips say of how often needs come up."""
