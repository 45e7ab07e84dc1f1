"""The model card."""
