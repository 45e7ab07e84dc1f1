"""SQL of the warehouse: numbered scripts, one schema per room."""
