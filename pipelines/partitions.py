"""The weeks as Dagster's partitions."""

import dagster as dg

# Monday's partition is wanted from that Monday on (end_offset), wherever the shop lies: the
# zone here is the one whose Monday begins first on earth.
WEEKS = dg.WeeklyPartitionsDefinition(
    start_date="2000-01-03", day_offset=1, end_offset=1, timezone="Pacific/Kiritimati"
)
