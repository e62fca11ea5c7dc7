"""Years that a date may be in, whoever gives it: a program, a person or a file."""

YEARS = range(1970, 2200)
"""From where a reset clock starts; adding days never runs out."""
