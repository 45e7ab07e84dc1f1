"""How long lives last: estimators on plain arrays."""
