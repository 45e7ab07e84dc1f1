"""What each action and each failure costs: the shop's own record, else the settings."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from ringland.settings.assumptions import Assumptions

UNIT_WHERE_NO_CURRENCY = "money"


@dataclass(frozen=True)
class Prices:
    """Money per unit of each item, its currency, and which items came from the settings."""

    check: float
    drain_refill: float
    top_end_planned: float
    full_rebuild_unplanned: float
    lost_rental_day: float
    days_lost_unplanned: float
    days_lost_planned: float
    currency: str
    from_settings: tuple[str, ...]

    @property
    def unplanned(self) -> float:
        """A failure in season: the rebuild and the rental lost while it is done."""
        return self.full_rebuild_unplanned + self.days_lost_unplanned * self.lost_rental_day

    @property
    def planned_renewal(self) -> float:
        """A planned top end and the rental lost while it is done."""
        return self.top_end_planned + self.days_lost_planned * self.lost_rental_day


ITEMS = (
    "check",
    "drain_refill",
    "top_end_planned",
    "full_rebuild_unplanned",
    "lost_rental_day",
    "days_lost_unplanned",
    "days_lost_planned",
)
"""Items looked for in the `costs` records; each has a setting `cost.<item>` to fall back on."""


def prices(costs: pl.DataFrame, season: int, assumptions: Assumptions) -> Prices:
    """The price of each item in a season.

    The latest season on record not after `season` counts.  Items the shop has not priced
    come from the settings and are named in `from_settings`.

    Raises:
        ValueError: the prices in use are in more than one currency.
    """
    latest = (
        costs.filter((pl.col("season") <= season) & pl.col("item").is_in(ITEMS))
        .sort("item", "season")
        .group_by("item", maintain_order=True)
        .last()
    )
    currencies = latest["currency"].unique().sort().to_list()
    if len(currencies) > 1:
        raise ValueError(
            f"costs: prices stand in {', '.join(currencies)}; give every item of a season "
            f"in one currency."
        )
    on_record = dict(zip(latest["item"], latest["amount"], strict=True))
    amounts = {i: on_record.get(i, assumptions.number(f"cost.{i}")) for i in ITEMS}
    return Prices(
        **amounts,
        currency=currencies[0] if currencies else UNIT_WHERE_NO_CURRENCY,
        from_settings=tuple(item for item in ITEMS if item not in on_record),
    )
