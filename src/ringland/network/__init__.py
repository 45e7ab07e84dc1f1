"""Many operators: records cut by operator, one operator's week, and what may be summed of all."""
