"""When what could not be sent to another program is tried again."""
