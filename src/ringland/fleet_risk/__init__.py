"""Who fails next, and were we right?  Spells in; fits, chances, evidence, scores out."""
