"""The decision half on the tables the rooms before it really hand on."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.actions.horizons import page_horizons
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.plan.week_planner import plan_week
from ringland.decision.value.action_options import option_table, spare_day_worth
from ringland.decision.value.fuel_rules import WHOLE_FLEET, FuelRule, compare_fuel_rules
from ringland.decision.value.hazard_ahead import planning_hazard
from ringland.decision.value.last_tests import with_days_since_test
from ringland.decision.value.season_outlook import season_outlook
from ringland.decision.value.small_fleet_advice import hull_advice, life_bound
from ringland.score.score_history import score_history
from tests.decision.small_fleet import AS_OF, SETTINGS, small_fleet

CATALOGUE = default_catalogue(SETTINGS)
FLEET = small_fleet()
FITS = FLEET.fits()
TABLES = FLEET.tables(FITS)
HAZARD = planning_hazard(FITS, SETTINGS)
LIMITS = WeekLimits(1, 20.0, {"top_end_kit": 1, "bottom_end_kit": 0}, {}, 1)


def options() -> pl.DataFrame:
    return option_table(
        TABLES.running,
        HAZARD,
        catalogue=CATALOGUE,
        prices=TABLES.prices,
        horizon_d=30.0,
        assumptions=SETTINGS,
    )


def test_every_hull_in_service_is_planned_or_named_as_not_assessed() -> None:
    table = options()
    unknown = TABLES.running.filter(pl.col("why_not").is_not_null())["hull_id"].to_list()

    plan = plan_week(
        table,
        LIMITS,
        spare_day_worth=spare_day_worth(table, TABLES.prices, 30.0),
        not_assessed=unknown,
    )

    assert unknown
    assert (
        sorted([*plan.rows["hull_id"], *plan.not_assessed])
        == TABLES.running["hull_id"].sort().to_list()
    )
    assert plan.total_cost <= plan.cost_of_nothing


def test_leaving_it_has_the_chance_of_the_report() -> None:
    left = options().filter(pl.col("option") == "nothing").select("hull_id", "chance")
    both = left.join(TABLES.chances.select("hull_id", "chance_30d"), on="hull_id")

    # A tenth of the draws: a mean is good to a fourteenth of the spread of the draws.
    assert (both["chance"] <= both["chance_30d"] * 1.1).all()
    assert both["chance"].to_numpy() == pytest.approx(both["chance_30d"].to_numpy(), rel=0.4)


def test_the_chance_to_the_seasons_end_counts_the_hours_that_the_plan_counts() -> None:
    """The page took the next weeks' pace to the season's last day: a third too much in August."""
    closing = TABLES.running.with_columns(later_use_h_d=pl.lit(0.0))
    end = AS_OF + timedelta(days=60)

    def to_the_end(running: pl.DataFrame) -> dict[str, tuple[float, float, float]]:
        *_, last = page_horizons(
            fits=FITS, running=running, chances=TABLES.chances, as_of=AS_OF, season_ends_at=end,
            assumptions=SETTINGS,
        )  # fmt: skip
        return dict(last.chances)

    month = dict(TABLES.chances.select("hull_id", "chance_30d").drop_nulls().iter_rows())
    for hull, (chance, _, _) in to_the_end(closing).items():
        # over twice the days hours scatter less
        assert chance == pytest.approx(month[hull], rel=0.05)
    assert sum(c for c, _, _ in to_the_end(TABLES.running).values()) > 1.2 * sum(month.values())


def test_outlook_advice_and_bound_speak_of_the_same_fleet() -> None:
    outlook, load = season_outlook(
        TABLES.running,
        HAZARD,
        days_left=45.0,
        catalogue=CATALOGUE,
        prices=TABLES.prices,
        assumptions=SETTINGS,
        rng=np.random.default_rng(1),
    )
    advice = hull_advice(TABLES.running, SETTINGS)
    bound = life_bound(FLEET.lives, "ring_land_fracture", SETTINGS)

    assert load.height == 7
    assert outlook["mean"].is_finite().all()
    assert set(advice["hull_id"]) <= set(TABLES.running["hull_id"])
    assert bound.n_failures == FLEET.lives.filter(mode="ring_land_fracture").height


def test_fuel_rules_read_the_spells_and_sessions_as_handed_on() -> None:
    rules = [
        FuelRule("best", "93 or better everywhere", {"north": 93.0, "south": 93.0}),
        FuelRule("drain", "drain after 14 days", drain_after_d=14.0),
        FuelRule("throttle", "three-quarter throttle below need", limits_throttle=True),
        FuelRule("mild", "mild calibration on low grade", goes_mild=True),
    ]

    table = compare_fuel_rules(
        FLEET.spells,
        FLEET.exposure,
        HAZARD,
        rules,
        prices=TABLES.prices,
        catalogue=CATALOGUE,
        assumptions=SETTINGS,
    )
    best = table.filter((pl.col("rule") == "best") & (pl.col("dock_id") == WHOLE_FLEET))

    assert table.height == 4 * 3
    # The middle draw: fuel differs between these docks, not within them, so the mean is anybody's.
    assert best["risk_ratio"].item() > 1


def test_a_week_of_the_report_can_be_scored_a_month_on() -> None:
    as_of = pl.lit(AS_OF).alias("as_of")
    later = AS_OF + timedelta(days=12)
    hull = TABLES.chances.filter(pl.col("chance_30d").is_not_null())["hull_id"][0]

    result = score_history(
        TABLES.chances.with_columns(as_of),
        FLEET.decisions(FITS).calls.with_columns(as_of),
        TABLES.running.select("hull_id", "fuel_age_25h_d").with_columns(as_of),
        failures=pl.DataFrame({"hull_id": [hull], "failed_at": [later]}),
        taken_out=pl.DataFrame(
            schema={"hull_id": pl.String, "taken_out_at": pl.Datetime("us", "UTC")}
        ),
        followed_to=AS_OF + timedelta(days=31),
        assumptions=SETTINGS,
        rng=np.random.default_rng(1),
    )

    assert result.counts["scored"] == TABLES.chances["chance_30d"].is_not_null().sum()
    assert result.leads["hull_id"].to_list() == [hull]
    assert result.groups["n_failures"].sum() == 1


def test_days_since_the_last_measured_test_follow_the_engine() -> None:
    inspections = pl.DataFrame(
        {
            "engine_id": ["E0", "E0", "E1", "E3", "E4"],
            "measure": ["compression", "leak_down", "compression", "oil_iron", "compression"],
            "state": ["measured", "measured", "stated_ok", "measured", "measured"],
            "inspected_at": [AS_OF - timedelta(days=n) for n in (40, 9, 3, 3, -1)],
        }
    )

    days = with_days_since_test(TABLES.running, inspections, AS_OF)
    found = dict(days.select("engine_id", "tested_d_ago").drop_nulls().iter_rows())

    # An 'ok' without a number, another measure and a later test do not count.
    assert found == {"E0": 9.0}
    assert days.height == TABLES.running.height


def test_a_test_of_an_earlier_piston_set_does_not_stand() -> None:
    tested = pl.DataFrame(
        {
            "engine_id": ["E0"],
            "measure": ["compression"],
            "state": ["measured"],
            "inspected_at": [AS_OF - timedelta(days=9)],
        }
    )
    fitted = TABLES.running.with_columns(last_built_at=pl.lit(AS_OF - timedelta(days=5)))

    assert with_days_since_test(fitted, tested, AS_OF)["tested_d_ago"].null_count() == fitted.height
