"""Which steps the week has room for."""
