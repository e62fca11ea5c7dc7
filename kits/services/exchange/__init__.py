"""Tables out to a file, and back from one: one definition of each table, used both ways."""
