"""Fixed words and figures as words, in one place so that they can be translated."""
