"""What each action and each failure costs: the shop's own record, else the settings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import polars as pl

from ringland.decision.actions.action_catalogue import Action, Catalogue
from ringland.settings.assumptions import Assumptions

UNIT_WHERE_NO_CURRENCY = "money"


@dataclass(frozen=True)
class Prices:
    """Money per unit of each item, its currency, and which items came from the settings.

    `amounts` and `hours` hold money and mechanic's hours of every item on record;
    `outside_per_l`, by dock, what a good litre filled outside costs above the dock's.
    """

    check: float
    drain_refill: float
    top_end_planned: float
    full_rebuild_unplanned: float
    lost_rental_day: float
    days_lost_unplanned: float
    days_lost_planned: float
    currency: str
    from_settings: tuple[str, ...]
    amounts: Mapping[str, float] = field(default_factory=dict)
    hours: Mapping[str, float] = field(default_factory=dict)
    outside_per_l: Mapping[str, float] = field(default_factory=dict)

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
    priced = (
        costs.filter(pl.col("season") <= season)
        .sort("item", "season")
        .group_by("item", maintain_order=True)
        .last()
    )
    latest = priced.filter(pl.col("item").is_in(ITEMS))
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
        amounts=_in_currency(priced, currencies, "amount"),
        hours=_in_currency(priced, [], "mechanic_h"),
    )


def _in_currency(priced: pl.DataFrame, currencies: list[str], column: str) -> dict[str, float]:
    """A column by item; money of another currency than the others' is left out."""
    kept = priced.filter(pl.col(column).is_not_null())
    if currencies:
        kept = kept.filter(pl.col("currency").is_in(currencies))
    return dict(kept.select("item", column).iter_rows())


RECORD_ITEMS = {
    "full_rebuild": "full_rebuild_planned",
    "mild_calibration": "calibration_change",
}
"""Actions that the `costs` records price by another name than their own or their `cost_item`."""


def as_on_record(catalogue: Catalogue, prices: Prices) -> Catalogue:
    """The catalogue with the mechanic's hours and prices of its jobs as the shop wrote them down.

    What stands in the shop's own file of actions holds against the `costs` records.

    Args:
        catalogue: what can be done.
        prices: as `prices` returns them.
    """

    def on_record(action: Action) -> Action:
        item = action.cost_item or RECORD_ITEMS.get(action.name, action.name)
        own = {name for name, number in action.numbers.items() if number.is_shops_own}
        if "mechanic_h" not in own:
            action = replace(action, mechanic_h=prices.hours.get(item, action.mechanic_h))
        # priced by the list, or by the litre or day, or in the shop's own file
        if action.cost_item or not action.cost or "cost" in own:
            return action
        return replace(action, cost=prices.amounts.get(item, action.cost))

    actions = {name: on_record(action) for name, action in catalogue.actions.items()}
    return replace(catalogue, actions=actions)
