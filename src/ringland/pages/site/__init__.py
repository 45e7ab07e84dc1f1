"""The whole site of a week."""
