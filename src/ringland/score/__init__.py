"""Whether we were right: outcomes, challenger, model card."""
