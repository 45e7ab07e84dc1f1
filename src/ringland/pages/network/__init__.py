"""The page that sets the operators of a network side by side."""
