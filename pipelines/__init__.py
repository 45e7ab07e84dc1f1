"""The shell: Dagster assets, the warehouse connection and the command line.  No formulas here."""
