"""The invented *Umberfell Outdoor School*: people, things, kits, and a year and a half of
trips.

Everything here is made up. Dates are relative to the day it is loaded.
"""
