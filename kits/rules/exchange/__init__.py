"""Tables that are exported to a file and imported from one: what stands in a cell, both ways."""
