"""A request for each operation that would succeed for whoever may."""
