"""What is written down where it happens: entries, who may make them, what they see at once."""
