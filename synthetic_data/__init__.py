"""An invented rental fleet whose true failure causes are known.  For demo and tests only."""
