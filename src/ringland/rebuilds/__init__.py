"""What must be opened and passed after a failure, what it costs, and whether it held."""
