"""Champion against challenger: boosting in known worlds, and the verdict on kept weeks."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from ringland.contracts.fuel_tables import CurrentExposure
from ringland.risk.fleet_hazard import fit_fleet
from ringland.score.boosted_hazard import BoostingError, fit_boosted_hazard
from ringland.score.challenger import (
    MODE,
    ChallengerChances,
    Contest,
    challenger_chances,
    contest,
)
from ringland.settings.assumptions import load_assumptions
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions().changed(survival__draws=200)
START = datetime(2026, 5, 4, tzinfo=UTC)
AT = pl.Datetime("us", "UTC")
N_HULLS = 40


def cliff(frame: pl.DataFrame) -> np.ndarray:
    """Only middling fuel age breaks lands: no line on the log scale follows that."""
    age = frame["fuel_age_25h_d"].to_numpy()
    return np.where((age > 5) & (age < 12), 0.012, 0.0004)


def judged(champion: float, challenger: float, *, weeks: int = 30, failed: int = 10) -> Contest:
    """Hulls told the same chance every week; the first `failed` fail in the last scored week.

    A forecaster that says `c` to those that will fail and the rest alike has in their last
    four weeks an error of (1 - c)^2, else of c^2.
    """
    told = pl.DataFrame(
        [
            {"as_of": START + timedelta(days=7 * week), "hull_id": f"H{hull}"}
            for week in range(weeks)
            for hull in range(N_HULLS)
        ],
        schema={"as_of": AT, "hull_id": pl.String},
    )
    end = START + timedelta(days=7 * (weeks - 1))
    return contest(
        told.with_columns(chance_30d=pl.lit(champion)),
        told.with_columns(chance_30d=pl.lit(challenger)),
        failures=pl.DataFrame(
            {
                "hull_id": [f"H{hull}" for hull in range(failed)],
                "failed_at": [end + timedelta(days=1)] * failed,
            },
            schema={"hull_id": pl.String, "failed_at": AT},
        ),
        taken_out=pl.DataFrame(schema={"hull_id": pl.String, "taken_out_at": AT}),
        followed_to=end + timedelta(days=31),
        assumptions=SETTINGS,
        rng=np.random.default_rng(2),
    )


def test_the_brier_scores_are_those_by_hand() -> None:
    result = judged(0.2, 0.1)
    # 30 weeks of 40 hulls; ten hulls fail a day after the last: it lies within 30 days of
    # the weeks at 0, 7, 14, 21 and 28 days before, five weeks.
    hits, rows = 50, 30 * 40

    assert (result.n_weeks, result.n_failures) == (30, 10)
    # The failed hulls leave the contest with their failure; nobody is lost before.
    assert result.champion_brier == pytest.approx((hits * 0.64 + (rows - hits) * 0.04) / rows)
    assert result.challenger_brier == pytest.approx((hits * 0.81 + (rows - hits) * 0.01) / rows)


def test_a_challenger_clearly_nearer_wins() -> None:
    result = judged(0.5, 0.04)

    assert not result.stays
    assert result.lead is not None
    assert result.lead.low > 0
    assert "clearly nearer" in result.verdict


def test_a_challenger_further_off_leaves_the_champion_in_place() -> None:
    result = judged(0.04, 0.5)

    assert result.stays
    assert "champion was clearly nearer" in result.verdict


def test_two_alike_models_are_a_draw_and_the_champion_stays() -> None:
    result = judged(0.04, 0.04)

    assert result.lead is not None
    assert (result.lead.low, result.lead.value, result.lead.high) == (0, 0, 0)
    assert result.stays
    assert "cannot tell the two apart" in result.verdict


@pytest.mark.parametrize(("weeks", "failed"), [(25, 10), (30, 4), (0, 0)])
def test_too_few_weeks_or_failures_are_said_and_the_champion_stays(weeks: int, failed: int) -> None:
    result = judged(0.5, 0.04, weeks=weeks, failed=failed)

    assert result.stays
    assert result.lead is None
    assert result.verdict.startswith(f"Not enough scored weeks to say: {weeks} week")


def running(spells: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The sets still running as `CurrentExposure` and `HullChances` name them, 40 h ahead."""
    last = spells.sort("piston_set_id", "start_h").group_by("piston_set_id").last()
    alive = last.filter(pl.col("mode").is_null()).unique("hull_id").sort("hull_id")
    now = alive.with_columns(age_h=pl.col("stop_h"), last_session_at=pl.col("stop_at"))
    told = now.select(
        "hull_id", "piston_set_id", "age_h", expected_h_30d=pl.lit(40.0), chance_30d=pl.lit(0.1)
    )
    return now.select(CurrentExposure.column_names()), told


def test_the_challenger_speaks_of_every_hull_the_champion_speaks_of() -> None:
    spells = made_spells(weibull_truth(), n_sets=120)
    now, told = running(spells)
    fits = fit_fleet(spells, SETTINGS, np.random.default_rng(1))
    told = told.with_columns(
        chance_30d=pl.when(pl.int_range(pl.len()) == 0).then(None).otherwise("chance_30d")
    )

    found = challenger_chances(spells, now, told, fits, SETTINGS)

    assert found["hull_id"].to_list() == told["hull_id"][1:].to_list()
    # Its ring-land part is that of the trees over the 40 h, at their middle.
    ahead = now.filter(pl.col("hull_id") == found["hull_id"][0])
    trees = fit_boosted_hazard(spells, MODE, SETTINGS)
    start = ahead["age_h"].to_numpy()
    wear = next(fit for fit in fits.modes if fit.mode == "ring_wear")
    total = trees.cumulative_hazard(start, start + 40, ahead)[0]
    total += wear.cumulative_hazard(start, start + 40, ahead).mean()
    assert found["chance_30d"][0] == pytest.approx(1 - np.exp(-total))


def test_without_a_failure_the_challenger_is_silent() -> None:
    spells = made_spells(lambda frame: np.zeros(frame.height), n_sets=5)
    now, told = running(spells)
    fits = fit_fleet(spells, SETTINGS, np.random.default_rng(1))

    found = challenger_chances(spells, now, told, fits, SETTINGS)

    assert found.equals(ChallengerChances.create_empty())


def test_boosting_finds_the_shape_of_a_hazard_and_its_level() -> None:
    spells = made_spells(cliff, n_sets=300)
    hazard = fit_boosted_hazard(spells, MODE, SETTINGS)

    expected = hazard.cumulative_hazard(
        spells["start_h"].to_numpy(), spells["stop_h"].to_numpy(), spells
    )
    in_band = spells["fuel_age_25h_d"].is_between(5, 12).to_numpy()
    per_hour = expected / 5.0

    assert expected.sum() == pytest.approx(hazard.n_failures, rel=0.05)  # trees are shrunk
    assert per_hour[in_band].mean() > 8 * per_hour[~in_band].mean()  # thirty-fold in truth


def test_boosting_gives_the_same_rates_twice() -> None:
    spells = made_spells(cliff)
    middle = spells["start_h"].to_numpy()

    first, second = (fit_boosted_hazard(spells, MODE, SETTINGS).rate(middle, spells) for _ in "ab")

    assert np.array_equal(first, second)


def test_boosting_without_a_failure_is_refused() -> None:
    with pytest.raises(BoostingError, match="no ring_land_fracture on record"):
        fit_boosted_hazard(made_spells(lambda f: np.zeros(f.height), n_sets=3), MODE, SETTINGS)
