"""Cox regression over (start, stop] spells: kernel, fit, checks, prediction."""
