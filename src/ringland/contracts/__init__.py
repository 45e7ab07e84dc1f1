"""What a row is: record kinds and the tables that rooms hand on, each column declared once."""
