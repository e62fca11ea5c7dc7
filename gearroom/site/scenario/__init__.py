"""The invented *Umberfell Outdoor School*: people, things, kits, trips and two seasons of use.

Everything here is made up. Dates are relative to the day it is loaded.
"""
