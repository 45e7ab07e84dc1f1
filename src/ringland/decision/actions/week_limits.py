"""What a week has room for: slots, hours, kits, spares and the rental days promised."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

WEEK_D = 7.0

LIFT_SLOTS = "lift slots"
MECHANIC_H = "mechanic hours"
SPARE_DAYS = "spare hulls"
RENTAL_DAYS = "rental days needed"


class LimitError(ValueError):
    """A limit cannot be used, or no plan keeps to the limits; the message names the limit."""


@dataclass(frozen=True)
class WeekLimits:
    """The room there is this week, net of jobs already under way.

    `parts_on_hand` counts kits by name; `parts_lead_d` holds the days a kit takes to come:
    one that comes within the week can be ordered and used, any other not.  A spare hull
    takes the place of one off the water.  `rental_days_needed` is the least number of
    hull-days to have ready for rent.
    """

    lift_slots: int
    mechanic_h: float
    parts_on_hand: Mapping[str, int] = field(default_factory=dict)
    parts_lead_d: Mapping[str, float] = field(default_factory=dict)
    spare_hulls: int = 0
    rental_days_needed: float = 0.0

    def __post_init__(self) -> None:
        amounts = {
            LIFT_SLOTS: self.lift_slots,
            MECHANIC_H: self.mechanic_h,
            SPARE_DAYS: self.spare_hulls,
            RENTAL_DAYS: self.rental_days_needed,
            **{f"kits on hand: {part}": count for part, count in self.parts_on_hand.items()},
            **{f"lead time: {part}": days for part, days in self.parts_lead_d.items()},
        }
        for name, amount in amounts.items():
            if not 0 <= amount < float("inf"):
                raise LimitError(f"{name} is {amount}; give a number of zero or more.")

    def can_order(self, part: str) -> bool:
        """Whether a kit ordered today is there within the week."""
        return self.parts_lead_d.get(part, float("inf")) <= WEEK_D

    def kits(self, part: str) -> int:
        """Kits of a part on hand.

        Raises:
            LimitError: the limits do not say how many there are.
        """
        if part not in self.parts_on_hand:
            raise LimitError(
                f"kits on hand: no count for {part}; give how many there are, 0 if none."
            )
        return self.parts_on_hand[part]

    def with_one_more(self, name: str) -> WeekLimits:
        """The same week with one more of a limit: a slot, an hour, a spare, a kit, or one
        rental day fewer to have ready.
        """
        if name == LIFT_SLOTS:
            return replace(self, lift_slots=self.lift_slots + 1)
        if name == MECHANIC_H:
            return replace(self, mechanic_h=self.mechanic_h + 1)
        if name == SPARE_DAYS:
            return replace(self, spare_hulls=self.spare_hulls + 1)
        if name == RENTAL_DAYS:
            return replace(self, rental_days_needed=max(0.0, self.rental_days_needed - 1))
        return replace(self, parts_on_hand={**self.parts_on_hand, name: self.kits(name) + 1})
