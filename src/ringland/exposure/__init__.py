"""What the engine was asked to stand: octane margin, spells, look-backs."""
