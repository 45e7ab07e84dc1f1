"""What to do this week: rules, options, prices, plan and calls."""
