"""Docks side by side, against sums by hand and the exact Poisson limits of a published table."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from ringland.risk.dock_comparison import DockRows, compare_docks, poisson_limits
from ringland.settings.assumptions import load_assumptions
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions()
SPELLS = made_spells(weibull_truth(), n_sets=60)


def sessions(octane: dict[str, list[float]]) -> pl.DataFrame:
    """100 litres a ride at each dock, against a need of 91."""
    rows = [(dock, aki) for dock, grades in octane.items() for aki in grades]
    return pl.DataFrame(rows, schema=["dock_id", "octane_aki"], orient="row").with_columns(
        burn_l=pl.lit(100.0),
        octane_margin_on=pl.col("octane_aki") - 91.0,
        unknown_share=pl.lit(0.0),
        fuel_age_d=pl.lit(10.0),
        share_over_28d=pl.lit(0.2),
    )


RIDES = sessions({"north": [87.0, 87.0, 91.0, 93.0], "south": [91.0, 91.0]})


def steady(*rates: float):  # type: ignore[no-untyped-def]
    """A hazard of so many failures per hour, one draw for each."""
    return lambda start, stop, rows: np.array([rate * (stop - start) for rate in rates])


def by_dock(hazard=None, spells=SPELLS, rides=RIDES):  # type: ignore[no-untyped-def]
    table = compare_docks(spells, rides, hazard, SETTINGS)
    return {row["dock_id"]: row for row in table.iter_rows(named=True)}


# DOMAIN.md section 8 states them as computed: 3 -> 0.6-8.8, 5 -> 1.6-11.7, 10 -> 4.8-18.4;
# they are the 95 % limits tabulated by Garwood (1936), Biometrika 28:437-442.
@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.69), (3, 0.62, 8.77), (5, 1.62, 11.67), (10, 4.80, 18.39)]
)
def test_limits_of_a_count_are_garwoods(count: int, low: float, high: float) -> None:
    # the table gives two decimals
    assert poisson_limits(count, 0.95) == pytest.approx((low, high), abs=0.006)


def test_failures_per_thousand_hours_are_counted_by_hand() -> None:
    for dock, row in by_dock().items():
        here = SPELLS.filter(pl.col("dock_id") == dock)
        failures = here["mode"].is_not_null().sum()

        assert row["n_failures"] == failures
        assert row["rate"] == pytest.approx(1000 * failures / (5 * here.height))
        assert row["rate_low"] < row["rate"] < row["rate_high"]


def test_fuel_is_told_by_litres() -> None:
    docks = by_dock()

    assert docks["north"]["below_need_l"] == 200
    assert docks["north"]["below_need_share"] == 0.5
    assert docks["south"]["below_need_l"] == 0
    assert docks["north"]["over_28d_share"] == pytest.approx(0.2)
    assert (docks["north"]["is_one_grade"], docks["south"]["is_one_grade"]) == (False, True)


def test_the_ratio_is_seen_over_expected_with_exact_limits_where_the_hazard_is_certain() -> None:
    row = by_dock(steady(0.001))["north"]
    seen, expected = row["n_failures"], 0.001 * row["running_h"]
    # Ratio limits of one certain expectation: Garwood's over it, up to the grid's fineness.
    low, high = stats.gamma.ppf(0.025, seen), stats.gamma.ppf(0.975, seen + 1)

    assert row["ratio"] == pytest.approx(seen / expected)
    assert row["ratio_low"] == pytest.approx(low / expected, rel=0.02)
    assert row["ratio_high"] == pytest.approx(high / expected, rel=0.02)


def test_an_uncertain_hazard_widens_the_ratio() -> None:
    certain, unsure = by_dock(steady(0.001)), by_dock(steady(0.0004, 0.001, 0.0025))

    assert unsure["north"]["ratio_low"] < certain["north"]["ratio_low"]
    assert unsure["north"]["ratio_high"] > certain["north"]["ratio_high"]


def test_without_a_hazard_there_is_a_rate_and_no_ratio() -> None:
    row = by_dock()["north"]

    assert row["rate"] > 0
    assert (row["expected"], row["ratio"], row["ratio_low"]) == (None, None, None)


def test_a_dock_without_failures_has_an_upper_limit_only() -> None:
    calm = made_spells(lambda frame: np.zeros(frame.height), n_sets=6)

    for row in by_dock(steady(0.001), calm).values():
        assert (row["n_failures"], row["rate_low"], row["ratio_low"]) == (0, 0, 0)
        assert row["rate_high"] == pytest.approx(3.689 / row["running_h"] * 1000, rel=1e-3)
        assert row["ratio_high"] > 0


def test_no_running_gives_an_empty_table() -> None:
    assert compare_docks(SPELLS.clear(), RIDES, None, SETTINGS).equals(DockRows.create_empty())


def test_a_hazard_of_the_docks_own_is_no_part_of_what_is_expected_of_it() -> None:
    def own(start, stop, rows):  # type: ignore[no-untyped-def]
        factor = 3.0 if "dock_id" in rows.columns or "engine_id" in rows.columns else 1.0
        return np.array([0.001 * factor * (stop - start)])

    row = by_dock(own)["north"]

    assert row["expected"] == pytest.approx(0.001 * row["running_h"])
