"""Advice for trips of others: what a stranger is asked and shown by a link, what whoever sends it
sees and edits, and whether it is on."""
