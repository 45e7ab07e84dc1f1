"""The evidence frames against counts by hand, and reports of fleets with little record."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from ringland.contracts.record_tables import PistonLives
from ringland.exposure.factor_registry import COVARIATES
from ringland.pages.evidence.evidence_charts import weibull_plot
from ringland.pages.site.report_page import build_site
from ringland.pages.week.week_listing import week_list_lines
from ringland.risk.fleet_evidence import fleet_evidence, life_curve, round_ages
from ringland.risk.fleet_hazard import clear_factors
from ringland.survival.lives.life_data import piston_life_columns
from tests.decision.small_fleet import SETTINGS, SmallFleet, frame, small_fleet


def lives(*rows: tuple[float, float, str | None]) -> pl.DataFrame:
    """Lives from (entry, exit, mode)."""
    return frame(
        PistonLives,
        [
            {
                "piston_set_id": f"P{number}",
                "hull_id": f"H{number}",
                "entry_h": entry,
                "exit_h": exit_,
                "state": "failed" if mode else "running",
                "mode": mode,
            }
            for number, (entry, exit_, mode) in enumerate(rows)
        ],
    )


def test_survival_and_numbers_at_risk_by_hand() -> None:
    """Four sets; one enters at 100 h.  At 50 h 3 are at risk, at 200 h 3 of which 1 fails.

    S(50) = 1 - 1/3, S(200) = 2/3 (1 - 1/3) = 4/9.  Ring wear at 300 h censors ring land.
    """
    table = lives(
        (0, 50, "ring_land_fracture"),
        (0, 200, "ring_land_fracture"),
        (0, 300, "ring_wear"),
        (100, 400, None),
    )
    curve = life_curve(piston_life_columns(table), "ring_land_fracture")

    assert curve.problem is None
    assert curve.n_failures == 2
    assert curve.steps["at_h"].to_list() == [0, 50, 200, 300, 400]
    assert curve.steps["estimate"].to_list() == pytest.approx([1, 2 / 3, 4 / 9, 4 / 9, 4 / 9])
    assert curve.at_risk.rows() == [(0, 3, 0), (100, 3, 1), (200, 2, 2), (300, 1, 2), (400, 0, 2)]


@pytest.mark.parametrize(
    ("longest", "ages"),
    [(870, [0, 200, 400, 600, 800]), (55, [0, 10, 20, 30, 40, 50]), (0.5, [0]), (3000, [0, 500])],
)
def test_numbers_at_risk_stand_at_round_ages(longest: float, ages: list[float]) -> None:
    assert round_ages(longest)[: len(ages)] == ages
    assert 1 <= len(round_ages(longest)) <= 7


def test_the_probability_plot_stands_on_enough_failures_only() -> None:
    """Twelve sets fail at 100, 200, ... h: the first point is at F = 1/24 (mid-step)."""
    twelve = lives(*((0, 100.0 * n, "ring_land_fracture") for n in range(1, 13)))
    plot = life_curve(piston_life_columns(twelve), "ring_land_fracture").plot
    one = lives((0, 100, "ring_land_fracture"), (0, 200, None))

    assert plot is not None
    assert plot.points["share_failed"][0] == pytest.approx(1 / 24)
    assert life_curve(piston_life_columns(one), "ring_land_fracture").plot is None
    figure = weibull_plot(plot, "ring_land_fracture")
    markers = figure.data[-1]
    assert list(markers.x) == [100 * n for n in range(1, 13)]
    # on Weibull axes y = log(-log(1 - F))
    assert markers.y[0] == pytest.approx(np.log(-np.log(23 / 24)), abs=1e-4)


def test_cumulative_incidence_and_survival_add_to_one() -> None:
    fleet = small_fleet()
    evidence = fleet_evidence(fleet.lives, fleet.spells, fleet.fits(), SETTINGS)
    last = evidence.incidence.group_by("mode").agg(pl.col("estimate").last())
    ended = (fleet.lives["state"] != "running") & (fleet.lives["state"] != "withdrawn")

    assert set(last["mode"]) == set(fleet.lives["mode"].drop_nulls())
    assert 0 < last["estimate"].sum() <= 1
    assert evidence.mode_counts["n_failures"].sum() == ended.sum()


def test_effects_show_three_models_per_factor_with_limits_around_them() -> None:
    fleet = small_fleet()
    fits = fleet.fits()
    effects = fleet_evidence(fleet.lives, fleet.spells, fits, SETTINGS).effects

    assert effects.group_by("factor", maintain_order=True).len()["len"].to_list() == [3] * len(
        COVARIATES
    )
    assert (effects["low"] <= effects["hazard_ratio"]).all()
    assert (effects["hazard_ratio"] <= effects["high"]).all()
    with_prior = effects.filter(pl.col("prior_share").is_not_null())
    clear = with_prior.filter((pl.col("low") > 1) | (pl.col("high") < 1))["factor"].to_list()
    assert [name for name in clear_factors(fits, SETTINGS) if name != "age_h"] == clear


def no_failures() -> SmallFleet:
    fleet = small_fleet(5)
    none = pl.lit(None, dtype=pl.String)
    return replace(
        fleet,
        spells=fleet.spells.with_columns(mode=none),
        lives=fleet.lives.with_columns(mode=none, state=pl.lit("running")),
        records=fleet.records | {"failures": fleet.records["failures"].clear()},
    )


def off_season() -> SmallFleet:
    fleet = small_fleet(5)
    long_ago = fleet.exposure.filter(
        pl.col("started_at") < pl.col("started_at").min() + timedelta(days=20)
    )
    return replace(fleet, exposure=long_ago)


def first_week() -> SmallFleet:
    fleet = small_fleet(5)
    empty = {
        name: getattr(fleet, name).clear()
        for name in ("exposure", "exposure_now", "spells", "lives", "bench")
    }
    records = {
        kind: rows if kind in ("docks", "hulls") else rows.clear()
        for kind, rows in fleet.records.items()
    }
    return replace(fleet, records=records, **empty)


@pytest.mark.parametrize("fleet", [no_failures(), off_season(), first_week()],
                         ids=["no failure", "off season", "first week"])  # fmt: skip
def test_a_fleet_with_little_record_still_gets_its_pages(fleet: SmallFleet) -> None:
    report = fleet.report()
    site = build_site(report)

    assert len(week_list_lines(report)) == 5
    assert sum(path.startswith("hulls/") for path in site) == 5


def test_without_a_failure_chances_are_the_priors_and_say_so() -> None:
    report = no_failures().report()
    text = build_site(report)["how-we-know.html"].decode()

    assert [sheet.hull_id for sheet in report.assessed] != []
    assert "0 failures" in text
    assert "few failures for its factors" in text


def test_off_season_no_hull_gets_a_chance() -> None:
    report = off_season().report()

    assert {str(sheet.chance["why_not"])[:21] for sheet in report.hulls[2:]} <= {
        "no rental on record f",
        "no engine on record f",
    }
    assert all(sheet.chance["chance_30d"] is None for sheet in report.hulls)


def test_a_week_without_any_hull_is_an_empty_list() -> None:
    fleet = first_week()
    report = replace(
        fleet, records=fleet.records | {"hulls": fleet.records["hulls"].clear()}
    ).report()

    assert week_list_lines(report) == []
    assert b"No hull can be assessed" in build_site(report)["index.html"]


def test_evidence_of_no_lives_says_what_is_missing() -> None:
    fleet = small_fleet()
    evidence = fleet_evidence(fleet.lives.clear(), fleet.spells, fleet.fits(), SETTINGS)

    assert all(curve.problem for curve in evidence.curves)
    assert evidence.incidence_problem is not None
    assert np.isfinite(evidence.effects["hazard_ratio"].to_numpy()).all()
