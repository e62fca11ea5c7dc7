"""What to buy, how much of it, when and from whom. What a list carries decides whoever signs it."""
