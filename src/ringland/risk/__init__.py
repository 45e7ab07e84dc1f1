"""Who fails next: the fit, chances, drivers and what lies ahead."""
