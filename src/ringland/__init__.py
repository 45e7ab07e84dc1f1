"""Fleet reliability for supercharged personal-watercraft engines.

Rooms, each importing only from those before it: `shop_records` (what people wrote down),
`fuel_exposure` (what each engine burned), `ring_survival` (the statistics of lives),
`fleet_risk` (who fails next), `service_week` (what to do this week), `failure_causes` (why
an engine broke), `week_pages` (what the operator reads).  Any room may read `assumptions`
and `wording`.  Nothing here knows
Dagster, DuckDB or the clock: frames, an `as_of` and a random generator are arguments.
"""
