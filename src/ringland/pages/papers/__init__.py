"""Papers of single hulls and the week in one file."""
