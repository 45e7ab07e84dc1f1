"""Why an engine broke, and what it must pass before it goes back."""
