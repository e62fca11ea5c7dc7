"""A booking system of the school, as a program of its own (`office`): what it knows of the gear
room is README.md and the documents that the API serves. It imports nothing of the project and has
a database of its own. Beside it: the school, and the test that kills both and compares."""
