"""A trial of better fuel is offered where it would pay to know, and nowhere else."""

import numpy as np
import polars as pl
import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.fuel_trial import FuelTrial, best_trial
from ringland.decision.value.priced_world import World
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls

SETTINGS = load_assumptions()
HULLS = running_hulls(24).with_columns(
    dock_id=pl.Series(["north", "south"] * 12), shortfall_25h_on=pl.Series([0.0, 4.0] * 12),
    use_h_d=pl.lit(2.0),
)  # fmt: skip


def trial(betas: list[float], on_rule: frozenset[str] = frozenset()) -> FuelTrial | None:
    """What is offered where the draws of the effect per octane number are these, evenly."""
    beta = np.repeat(betas, 60)[:, None]

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        short = exposure["shortfall_25h_on"].cast(pl.Float64).to_numpy()
        return 0.0008 * (stop_h - start_h) * np.exp(beta * (short - 2.0))

    return best_trial(
        World.of(hazard, default_catalogue(SETTINGS), PRICES, SETTINGS),
        HULLS,
        on_rule,
        horizon_d=140.0,
        assumptions=SETTINGS,
        rng=np.random.default_rng(3),
    )


def test_where_fuel_may_matter_or_not_half_of_one_dock_tells_and_is_worth_it() -> None:
    found = trial([0.0, 0.35])

    assert found is not None
    south = HULLS.filter(dock_id="south")["hull_id"].to_list()
    assert found.dock_id == "south"
    assert sorted([*found.on_better_fuel, *found.as_they_are]) == sorted(south)
    assert len(found.on_better_fuel) == len(found.as_they_are) == 6
    assert found.worth > found.net_cost
    assert 0 < found.would_change < 1


@pytest.mark.parametrize("known", [[0.0, 0.0], [0.6, 0.6]])
def test_where_the_record_tells_there_is_nothing_to_find_out(known: list[float]) -> None:
    assert trial(known) is None


def test_hulls_on_better_fuel_already_are_in_no_trial() -> None:
    assert trial([0.0, 0.35], frozenset(HULLS["hull_id"])) is None
