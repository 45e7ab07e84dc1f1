"""Where the hulls stand this week: running sets, chances, drivers, tests, docks and prices.

What is decided on them stands in `week_decisions`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import polars as pl

from ringland.bench.standing_tests import complete_passes, standing_failures, with_releases
from ringland.contracts.record_columns import REBUILD_SHEET
from ringland.contracts.record_tables import OpenSheets
from ringland.contracts.risk_tables import ChanceInputs, ChanceParts
from ringland.decision.actions.action_prices import Prices, prices
from ringland.decision.actions.fuel_offers import FuelOffers, fuel_offers, outside_steps
from ringland.decision.jobs.bench_lines import bench_warnings
from ringland.decision.value.fuel_burned import dock_fuel
from ringland.decision.value.last_tests import (
    with_bad_readings,
    with_days_since_test,
    with_last_build,
)
from ringland.exposure.fuel_at_hand import fuel_at_hand
from ringland.history.engine_history import installed_engines
from ringland.risk.closed_season import season_end
from ringland.risk.expected_use import expected_use, later_use
from ringland.risk.exposure_turn import with_season
from ringland.risk.failure_risk import hull_chances, hull_drivers
from ringland.risk.fleet_hazard import FleetFits
from ringland.risk.hull_state import open_failures, running_sets
from ringland.risk.usual_exposure import usual_exposure
from ringland.risk.why_changed import chance_inputs, why_changed
from ringland.settings.assumptions import Assumptions
from ringland.words.state_words import LEFT_OUT


@dataclass(frozen=True)
class WeekTables:
    """The tables of one week: frames as their schemas in `tables` say, and the prices used.

    `running` has one row per hull in service, as `running_sets` returns it, with
    `tested_d_ago`, `bad_readings` and `last_built_at`; `standing` (`StandingFailures`) what
    failed tests speak against each engine and who released them, `bench_warnings` one sentence
    per engine that they bind; `sheets` the `OpenSheets` with who released them;
    `dock_fuel` has one row per dock, `fuel_offers` the better grades docks can order, as the
    functions of those names return them; `at_hand` is `FuelAtHand`.  `inputs` (`ChanceInputs`)
    is what the chances were worked out from, `changed` (`ChanceParts`) why they are others than
    the week before's, empty where nothing was said before.
    """

    running: pl.DataFrame
    chances: pl.DataFrame
    drivers: pl.DataFrame
    bench_warnings: pl.DataFrame
    standing: pl.DataFrame
    sheets: pl.DataFrame
    dock_fuel: pl.DataFrame
    at_hand: pl.DataFrame
    prices: Prices
    fuel_offers: pl.DataFrame = field(default_factory=FuelOffers.create_empty)
    inputs: pl.DataFrame = field(default_factory=ChanceInputs.create_empty)
    changed: pl.DataFrame = field(default_factory=ChanceParts.create_empty)


def make_week_tables(
    *,
    records: Mapping[str, pl.DataFrame],
    exposure: pl.DataFrame,
    exposure_now: pl.DataFrame,
    tanks: pl.DataFrame,
    bench: pl.DataFrame,
    fits: FleetFits,
    as_of: datetime,
    assumptions: Assumptions,
    open_sheets: pl.DataFrame | None = None,
) -> WeekTables:
    """This week's tables from what was known at `as_of`.

    Args:
        records: the record frames by kind (`RECORD_KINDS`), as known at `as_of`.
        exposure: `SessionExposure`.
        exposure_now: `CurrentExposure`.
        tanks: `TanksNow`.
        bench: `BenchVerdicts`.
        fits: as `fit_fleet` returns them.
        as_of: the instant the report speaks of, UTC.
        assumptions: settings.
        open_sheets: `OpenSheets`; None: no rebuild sheet is open.
    """
    use = expected_use(exposure, records["hulls"], as_of, assumptions)
    later = later_use(use, exposure, as_of, season_end(as_of, assumptions), assumptions)
    running = running_sets(
        exposure_now=exposure_now,
        use=use.join(later, on="hull_id", how="left"),
        usual=usual_exposure(exposure, as_of, assumptions),
        installed=installed_engines(records["installations"], as_of),
        failures=open_failures(records["failures"], records["rebuilds"], records["piston_sets"]),
        cannot_tell=fits.cannot_tell,
        as_of=as_of,
        assumptions=assumptions,
    )
    running = fits.error.believed(running)  # what the fit took the exposure to be
    running = with_last_build(running, records, as_of)
    running = with_season(running, exposure, as_of, season_end(as_of, assumptions), assumptions)
    standing = standing_failures(bench, records, as_of)
    passes = complete_passes(bench, records["engines"])
    running = with_bad_readings(running, bench, passes, assumptions)
    return WeekTables(
        running=with_days_since_test(running, passes, as_of),
        chances=hull_chances(fits, running, assumptions),
        drivers=hull_drivers(fits, running, assumptions),
        bench_warnings=bench_warnings(standing),
        standing=standing,
        sheets=with_releases(
            OpenSheets.create_empty() if open_sheets is None else open_sheets,
            records,
            as_of,
            since="rebuilt_at",
            what=pl.lit(REBUILD_SHEET),
        ),
        dock_fuel=dock_fuel(exposure, tanks, records["docks"], as_of, assumptions),
        at_hand=fuel_at_hand(tanks, exposure, records, as_of, assumptions),
        prices=replace(
            prices(records["costs"], as_of.year, assumptions),
            outside_per_l=outside_steps(
                records["fills"], records["deliveries"], as_of, assumptions
            ),
        ),
        fuel_offers=fuel_offers(records["deliveries"], running, as_of, assumptions),
        inputs=chance_inputs(running),
    )


@dataclass(frozen=True)
class WeekBefore:
    """What the week before said: `ChanceInputs` and `HullChances`."""

    inputs: pl.DataFrame
    chances: pl.DataFrame


def with_left_out(tables: WeekTables, hulls: Collection[str]) -> WeekTables:
    """The tables with why no chance is given for the hulls whose records were left out."""
    is_out = pl.col("hull_id").is_in(list(hulls))
    why = pl.when(is_out).then(pl.lit(LEFT_OUT)).otherwise("why_not").alias("why_not")
    return replace(
        tables, running=tables.running.with_columns(why), chances=tables.chances.with_columns(why)
    )


def with_change(
    tables: WeekTables, fits: FleetFits, before: WeekBefore, assumptions: Assumptions
) -> WeekTables:
    """The tables with why each chance is another than the week before's.

    Args:
        tables: as `make_week_tables` returns them.
        fits: the fits they were made with.
        before: what the week before said.
        assumptions: settings.
    """
    changed = why_changed(
        fits,
        tables.running,
        tables.chances,
        inputs_then=before.inputs,
        chances_then=before.chances,
        assumptions=assumptions,
    )
    return replace(tables, changed=changed)
