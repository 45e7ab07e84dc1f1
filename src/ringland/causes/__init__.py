"""Why an engine broke: findings, record, and the order of the causes."""
