"""At how much an item is to be ordered, and what that rests on."""
