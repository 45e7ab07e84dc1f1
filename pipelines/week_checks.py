"""A check on the week as a whole: the records are not old."""

from datetime import datetime
from pathlib import Path

import dagster as dg
import polars as pl

from pipelines.home import Home
from pipelines.week_graph import GRAPH
from pipelines.weekly.assets import Weeks, key_of
from pipelines.weekly.givens import clock_of
from pipelines.weekly.store import WeekStore
from ringland.settings.assumptions import load_assumptions

SESSIONS = GRAPH.steps["engine_sessions"]


def freshness_result(
    sessions: pl.DataFrame, as_of: datetime, limit_d: float
) -> dg.AssetCheckResult:
    """Whether the newest rental known at a week is at most `limit_d` days old."""
    age_d = sessions.select((pl.lit(as_of) - pl.col("ended_at").max()).dt.total_days()).item()
    return dg.AssetCheckResult(
        passed=age_d is not None and age_d <= limit_d,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={
            "days_since_newest_rental": -1 if age_d is None else age_d,
            "remedy": "load the newer records; outside the season this is as expected",
        },
    )


@dg.asset_check(asset=key_of(SESSIONS))
def records_are_fresh(context: dg.AssetCheckExecutionContext, weeks: Weeks) -> dg.AssetCheckResult:
    """The newest rental lies within the days over which expected use is looked back."""
    home, key = Home(Path(weeks.home)), weeks.key(context.partition_key)
    limit_d = load_assumptions(home.settings).number("record.recent_sessions_d")
    sessions = WeekStore(home.weeks).frame(key, SESSIONS, "sessions")
    assert sessions is not None  # its contract's check, which blocks, has looked
    return freshness_result(sessions, clock_of(home, key).as_of, limit_d)
