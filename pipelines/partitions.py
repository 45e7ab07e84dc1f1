"""The weeks as Dagster's partitions."""

from functools import lru_cache

import dagster as dg
from dagster._core.definitions.partitions.mapping import time_window

# Monday's partition is wanted from that Monday on (end_offset), wherever the shop lies: the
# zone here is the one whose Monday begins first on earth.
WEEKS = dg.WeeklyPartitionsDefinition(
    start_date="2000-01-03", day_offset=1, end_offset=1, timezone="Pacific/Kiritimati"
)

# Dagster steps back to the first of a step's earlier weeks week by week, for every input anew.
_STEPS_BACK = "_offsetted_datetime"
setattr(time_window, _STEPS_BACK, lru_cache(maxsize=256)(time_window._offsetted_datetime))
