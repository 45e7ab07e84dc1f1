"""Fleet reliability for supercharged personal-watercraft engines.

Four rooms, each importing only from those before it: `shop_records` (what people wrote
down), `fuel_exposure` (what each engine burned), `ring_survival` (how long piston sets
last, and what shortens it), `service_week` (what to do this week).  Nothing here knows
Dagster, DuckDB or the clock: frames, an `as_of` and a random generator are arguments.
"""
