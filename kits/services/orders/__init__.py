"""Orders to suppliers that are on their way, and what arrives of them."""
