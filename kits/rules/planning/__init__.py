"""What to carry, what to leave, how many: the arithmetic, one module a question.

Needs (what an item is for) are counted in uses. A rate is uses in a participant-day: one person for
one day. Nothing here advises leaving anything out; it says what carrying comes to.
"""
