"""What the worth of any step depends on beside the sets: hazard, prices, what ends count for."""

from __future__ import annotations

from dataclasses import dataclass

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.value.hazard_ahead import CumulativeHazard
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class World:
    """What an option's outcome depends on beside the sets.

    `carry_h` hours of running after the season count for `carry_share` of their failures.
    """

    hazard: CumulativeHazard
    catalogue: Catalogue
    prices: Prices
    window_h: float
    carry_h: float
    carry_share: float
    burn_l_h: tuple[float, float]
    """At cruise and at full throttle."""
    renewal_doubt: float = 0.0
    """Share of its price that a new set must save beyond it."""

    @classmethod
    def of(
        cls,
        hazard: CumulativeHazard,
        catalogue: Catalogue,
        prices: Prices,
        assumptions: Assumptions,
        *,
        n_failures: int = 0,
    ) -> World:
        """The world as the settings have it, after so many failures of the modes at stake."""
        whole_up_to = assumptions.number("planning.renewal_doubt_failures")
        return cls(
            hazard=hazard,
            catalogue=catalogue,
            prices=prices,
            window_h=assumptions.number("exposure.trailing_h"),
            carry_h=assumptions.number("planning.carry_over_h"),
            carry_share=assumptions.number("planning.carry_over_share"),
            burn_l_h=(
                assumptions.number("fuel.cruise_burn_l_h"),
                assumptions.number("fuel.full_burn_l_h"),
            ),
            renewal_doubt=assumptions.number("planning.renewal_doubt")
            * min(1.0, whole_up_to / max(1, n_failures)),
        )
