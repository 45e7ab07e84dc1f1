"""Failures by how many weeks ahead they were said: by hand, and over many honest histories."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import stats

from ringland.risk.fleet_hazard import fit_fleet
from ringland.score.weeks_ahead import common_share, weeks_ahead
from ringland.settings.assumptions import load_assumptions
from ringland.words.record_check_words import weeks_ahead_lines
from tests.risk.made_spells import made_spells, weibull_truth
from tests.risk.test_failure_risk import running_set

SETTINGS = load_assumptions()
DAY_0 = datetime(2026, 5, 4, tzinfo=UTC)
AT = pl.Datetime("us", "UTC")


def day(n: float) -> datetime:
    return DAY_0 + timedelta(days=n)


def said(chance: np.ndarray, factor: float = 2.0) -> pl.DataFrame:
    """What was said of 30 days, hulls by weeks; an even hazard, ranges a factor either way."""
    weeks, hulls = chance.shape
    in_7d = -np.expm1(np.log1p(-chance) * 7 / 30)
    return pl.DataFrame(
        {
            "as_of": [day(7 * w) for w in range(weeks) for _ in range(hulls)],
            "hull_id": [f"H{h}" for _ in range(weeks) for h in range(hulls)],
            "chance_7d": in_7d.ravel(),
            "chance_30d": chance.ravel(),
            "chance_30d_low": (chance / factor).ravel(),
            "chance_30d_high": (chance * factor).ravel(),
        },
        schema_overrides={"as_of": AT},
    )


def ends(column: str, *rows: tuple[str, float]) -> pl.DataFrame:
    return pl.DataFrame(
        {"hull_id": [hull for hull, _ in rows], column: [day(n) for _, n in rows]},
        schema={"hull_id": pl.String, column: AT},
    )


def ahead(chances, *, failed=(), taken=(), to=200.0, common=0.5):  # type: ignore[no-untyped-def]
    return weeks_ahead(
        chances,
        failures=ends("failed_at", *failed),
        taken_out=ends("taken_out_at", *taken),
        followed_to=day(to),
        common=common,
        assumptions=SETTINGS,
    )


def test_each_week_ahead_counts_who_was_still_running_to_where_it_was_followed() -> None:
    """Four hulls told 30 %: hazard 0.0119 a day; one fails on day 10, one is opened on day 3."""
    rows = ahead(said(np.full((1, 4), 0.3)), failed=[("H0", 10)], taken=[("H1", 3)])
    a_day = -np.log(0.7) / 30

    assert rows["week"].to_list() == [1, 2, 3, 4]
    assert rows["n_hull_weeks"].to_list() == [4, 3, 2, 2]
    assert rows["seen"].to_list() == [0, 1, 0, 0]
    run = [3 * 7 + 3, 2 * 7 + 3, 2 * 7, 2 * 7]
    assert rows["expected"].to_list() == pytest.approx([a_day * days for days in run])


def test_a_week_that_is_not_over_is_not_counted() -> None:
    chances = said(np.full((1, 4), 0.3))

    assert ahead(chances, to=6.0).is_empty()
    assert ahead(chances, to=15.0)["week"].to_list() == [1, 2]


def test_ranges_without_width_give_the_limits_of_a_poisson_count() -> None:
    """Four weeks at 95 %: 0.625 % either side; of a mean of 10 that is 3 and 19."""
    chance = -np.expm1(-30 / 7 * 10 / 400)
    rows = ahead(said(np.full((1, 400), chance), factor=1.0))

    # R: qpois(c(0.00625, 0.99375), 10) gives 3 and 19
    assert rows.select("low", "high").row(0) == (3.0, 19.0)
    assert rows["expected"][0] == pytest.approx(10.0)
    assert stats.poisson.ppf([0.00625, 0.99375], 10).tolist() == [3.0, 19.0]


def test_honest_chances_seldom_cry_wolf_and_chances_of_a_fifth_mostly_do() -> None:
    """Forty fleets over twelve weeks, the fleet's level as open as a range of two either way."""
    rng = np.random.default_rng(5)
    cries, told = 0, 0
    for _ in range(40):
        chances = np.full((12, 40), 0.08)
        spread = np.log(2) / 1.96
        level = np.exp(spread * rng.standard_normal() - spread**2 / 2)
        dies = rng.exponential(-30 / np.log1p(-0.08) / level, 40)
        failed = [(f"H{h}", d) for h, d in enumerate(dies) if d < 12 * 7 + 30]
        alive = pl.DataFrame({"hull_id": [f"H{h}" for h in range(40)], "dies": dies})
        running = pl.col("as_of") < DAY_0 + pl.duration(seconds=pl.col("dies") * 86400)
        all_said = said(chances).join(alive, on="hull_id").filter(running)
        cries += ahead(all_said, failed=failed, common=1.0)["misses"].any()
        fifth = all_said.with_columns(pl.selectors.starts_with("chance") / 5)
        told += ahead(fifth, failed=failed, common=0.3)["misses"].any()

    assert cries <= 5  # of 40 at 5 % or less: 5 or fewer 19 times in 20
    assert told >= 30


def test_missed_weeks_are_told_in_one_doubt() -> None:
    rows = ahead(said(np.full((3, 40), 0.02)), failed=[(f"H{h}", 21 + h / 4) for h in range(20)])

    (line,) = weeks_ahead_lines(rows.iter_rows(named=True))
    assert rows["misses"].sum() > 1
    assert line.startswith("Doubt: ring failures against the chances earlier lists gave")
    assert line.endswith("too low.")


def test_a_fleet_of_many_engines_has_a_part_of_its_spread_in_common() -> None:
    """Each engine's own factor is not common; what the few failures leave open of the level is."""
    running = pl.concat([running_set(hull_id=f"H{h}", engine_id=f"E{h}") for h in range(30)])
    spells = made_spells(weibull_truth(), n_sets=60)
    fits = fit_fleet(spells, SETTINGS.changed(survival__draws=200), np.random.default_rng(1))
    without = fit_fleet(spells.clear(), SETTINGS, np.random.default_rng(1))

    assert 0.2 < common_share(fits, running, SETTINGS) < 0.9
    assert common_share(without, running, SETTINGS) == 1.0
    assert common_share(fits, running.clear(), SETTINGS) == 1.0
