"""Advice for trips of others: off until an administrator turns it on and names who may send it. A
link asks a stranger eight questions; whoever may send edits the draft that they make, and sends."""
