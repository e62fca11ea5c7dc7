"""Undoing: what falls with an act, and the book as it would be without it."""
