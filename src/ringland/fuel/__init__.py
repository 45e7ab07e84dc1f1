"""What was in the tank: dock and craft ledger, bounds, ages."""
