"""Life tables, parametric lives and what is read off them."""
