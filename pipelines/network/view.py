"""What a week of a network says side by side: operators, kits, seasons, and what was shown."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from importlib.metadata import version
from typing import Any

import polars as pl

from pipelines.network.store import NetworkStore, newest_by
from pipelines.weekly.store import StoreError
from ringland.network.bucket_sums import COUNTED, GROUPED
from ringland.pages.network.network_page import NetworkReport
from ringland.risk.dock_comparison import poisson_limits

KINDS = {"operator": "Operators", "kit": "Kits, of all operators", "season": "Seasons, of all"}
"""What is compared, and its heading."""


def network_view(address: str, monday: str, confidence: float) -> tuple[str, pl.DataFrame]:
    """The newest week no later than a Monday, and a row per operator, kit and season of it.

    A row holds `kind` (of `KINDS`), `name`, the counts (`GROUPED`) and ring-land fractures per
    1,000 engine hours with exact limits, null without hours.

    Raises:
        StoreError: no week was worked out by then.
    """
    store = NetworkStore(address)
    newest = newest_by(store.weeks(), monday)
    if newest is None:
        raise StoreError(
            f"No week by {monday} was worked out in the network at {address}. "
            f"Run 'ringland network week {address}' first."
        )
    counts: dict[tuple[str, str], list[float]] = {}
    for one, made in sorted(store.week(newest)["operators"].items()):
        of = dict(zip(COUNTED, made["lasting"]["counts"], strict=True))
        counts["operator", one] = [of[name] for name in GROUPED]
        for group, more in made["lasting"]["grouped"].items():
            kind, _, name = group.partition(" ")
            before = counts.get((kind, name), [0.0] * len(GROUPED))
            counts[kind, name] = [a + b for a, b in zip(before, more, strict=True)]
    order = list(KINDS)
    rows = [
        {"kind": kind, "name": name} | dict(zip(GROUPED, of, strict=True))
        for (kind, name), of in sorted(counts.items(), key=lambda x: (order.index(x[0][0]), x[0]))
    ]
    return newest, pl.DataFrame([row | _rate(row, confidence) for row in rows])


def network_report(address: str, monday: str, confidence: float) -> NetworkReport:
    """All that the page of the network's newest week no later than a Monday says.

    Raises:
        StoreError: no week was worked out by then.
    """
    newest, counts = network_view(address, monday, confidence)
    store = NetworkStore(address)
    week = store.week(newest)
    return NetworkReport(
        as_of=datetime.fromisoformat(week["as_of"]),
        is_demo=store.is_invented,
        total=week["sums"],
        counts=counts,
        shown=_shown(store, newest),
        versions={"ringland": version("ringland")},
    )


def _shown(store: NetworkStore, monday: str) -> dict[str, dict[str, Any]]:
    """What operators agreed to show by a Monday."""
    found = {one: store.share(one) for one in sorted(store.handed_in())}
    return {one: told for one, told in found.items() if told and told["monday"] <= monday}


def _rate(row: Mapping[str, object], confidence: float) -> dict[str, float | None]:
    hours, fractures = row["engine_h"], row["ring_land_fractures"]
    assert isinstance(hours, float)
    assert isinstance(fractures, float)
    if hours <= 0:
        return dict.fromkeys(("per_1000_h", "low", "high"))
    low, high = poisson_limits(int(fractures), confidence)
    per = 1000 / hours
    return {"per_1000_h": fractures * per, "low": low * per, "high": high * per}
