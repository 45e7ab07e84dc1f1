"""The week's decisions from the tables of the week, in one call."""

from datetime import timedelta

import numpy as np
import polars as pl

from ringland.service_week.catalogue_file import default_catalogue
from ringland.service_week.week_decisions import (
    WeekDecisions,
    default_limits,
    make_week_decisions,
)
from ringland.service_week.week_planner import HandChanges
from tests.service_week.small_fleet import AS_OF, SETTINGS, small_fleet

CATALOGUE = default_catalogue(SETTINGS)
FLEET = small_fleet()
FITS = FLEET.fits()
TABLES = FLEET.tables(FITS)


def decisions(**changed: object) -> WeekDecisions | None:
    arguments = {
        "running": TABLES.running,
        "fits": FITS,
        "lives": FLEET.lives,
        "inspections": FLEET.records["inspections"],
        "prices": TABLES.prices,
        "catalogue": CATALOGUE,
        "limits": default_limits(CATALOGUE, SETTINGS),
        "as_of": AS_OF,
        "season_ends_at": AS_OF + timedelta(days=60),
        "assumptions": SETTINGS,
        "rng": np.random.default_rng(3),
    }
    return make_week_decisions(**(arguments | changed))  # type: ignore[arg-type]


def test_a_week_is_decided_in_one_call_and_the_same_each_time() -> None:
    first, second = decisions(), decisions()

    assert first is not None
    assert second is not None
    assert first.plan.rows.equals(second.plan.rows)
    assert first.options.equals(second.options)
    assert first.outlook.equals(second.outlook)  # type: ignore[union-attr, arg-type]
    assert first.bound is not None
    assert first.renewal is not None


def test_default_limits_count_every_kit_the_catalogue_uses() -> None:
    limits = default_limits(CATALOGUE, SETTINGS)

    assert limits.parts_on_hand == {"bottom_end_kit": 1, "top_end_kit": 1}
    assert not limits.can_order("top_end_kit")


def test_a_pin_reaches_the_plan_and_its_renewal_the_outlook() -> None:
    hull = TABLES.running.filter(pl.col("why_not").is_null())["hull_id"][0]

    pinned = decisions(changes=HandChanges(pins={hull: "planned_top_end"}))

    assert pinned is not None
    assert hull in pinned.plan.hand_changes
    kits = pinned.outlook.filter(pl.col("quantity") == "kits: top_end_kit")  # type: ignore[union-attr]
    assert kits["q05"].item() >= 1


def test_after_the_season_there_is_a_plan_and_no_outlook() -> None:
    over = decisions(season_ends_at=AS_OF - timedelta(days=1))

    assert over is not None
    assert over.outlook is None
    assert over.plan.rows.height > 0


def test_where_no_hull_has_a_chance_there_is_nothing_to_decide() -> None:
    unknown = TABLES.running.with_columns(why_not=pl.lit("no rental on record"))

    assert decisions(running=unknown) is None
