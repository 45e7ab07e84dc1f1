"""Do the ledger's bounds hold the truth where things happened that nobody wrote down?

    pytest -m study tests/studies/test_ledger_truth.py -s

2,000 burns of each case of `ledger_world`, whose parcels share nothing with the ledger.  Asked:
bounds hold the truth in at least 95 %; burns called known (less than 5 % unknown) lie outside
their bounds in at most 5 %; the mean width is at most twice the narrowest band of constant width
about the best estimate that would have held 95 % of the same burns; bounds of the fuel's mean age
hold it in at least 95 %.  The table it prints is kept in
ledger_truth.md, with commit and date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.fuel.session_fuel import SessionFuelResult, session_fuel
from ringland.settings.assumptions import Assumptions, load_assumptions
from tests.fuel.small_records import engine_sessions
from tests.studies.ledger_world import (
    CASES,
    CRUISE_L_H,
    FULL_L_H,
    MIXTURES,
    START,
    World,
    Written,
    written,
)

ASSUMPTIONS = load_assumptions()
KNOWN = 0.05
SEEDS = (201, 202, 203, 204, 205)
"""Nothing was chosen or mended on these."""


def ledger_of(book: Written, world: World, assumptions: Assumptions) -> SessionFuelResult:
    rows = book.rows | {
        "docks": [{"dock_id": "north", "bulk_tank_l": world.dock_l, "time_zone": "UTC",
                   "country": "US"}],
        "hulls": [
            {"hull_id": f"H{i:02d}", "dock_id": "north", "tank_l": world.tank_l,
             "in_service_at": START}
            for i in range(world.hulls)
        ],
    }  # fmt: skip
    records = {
        kind: pl.DataFrame(mine, schema=RECORD_KINDS[kind].schema.create_empty().schema)
        for kind, mine in rows.items()
    }
    rides = [
        ride
        | {"engine_h_start": 0.0, "engine_h_stop": ride["running_h"],
           "cruise_burn_l_h": CRUISE_L_H, "full_burn_l_h": FULL_L_H}
        for ride in book.rides
    ]  # fmt: skip
    as_of = max(ride["ended_at"] for ride in book.rides) + timedelta(days=1)
    return session_fuel(records, engine_sessions(*rides), assumptions, as_of)


@dataclass(frozen=True)
class Held:
    """How the bounds of one case did."""

    burns: int
    held: float
    known: float
    known_missed: float
    width_on: float
    narrowest_on: float
    error_on: float
    age_held: float
    age_width_d: float
    age_narrowest_d: float


def judged(world: World, seeds: Sequence[int], assumptions: Assumptions = ASSUMPTIONS) -> Held:
    """How the bounds of all burns of the world played with each seed did together."""
    tables = []
    for seed in seeds:
        book = written(world, seed)
        fuel = ledger_of(book, world, assumptions).sessions
        names = ["hull_id", "started_at", "true_aki", "true_age_d"]
        truth = pl.DataFrame(book.truth, schema=names, orient="row")
        truth = truth.with_columns(pl.col("started_at").cast(fuel.schema["started_at"]))
        tables.append(fuel.join(truth, on=["hull_id", "started_at"]))
    table = pl.concat(tables)
    low, high = table["octane_low_aki"].to_numpy(), table["octane_high_aki"].to_numpy()
    true = table["true_aki"].to_numpy()
    best = table["octane_aki"].fill_null((table["octane_low_aki"] + table["octane_high_aki"]) / 2)
    error = np.abs(true - best.to_numpy())
    out = (true < low - 1e-9) | (true > high + 1e-9)
    known = table["unknown_share"].to_numpy() < KNOWN
    return Held(
        burns=len(true),
        held=1 - float(out.mean()),
        known=float(known.mean()),
        known_missed=float(out[known].mean()) if known.any() else 0.0,
        width_on=float((high - low).mean()),
        narrowest_on=2 * float(np.quantile(error, 0.95, method="higher")),
        error_on=float(error.mean()),
        **age_bounds(table),
    )


def age_bounds(table: pl.DataFrame) -> dict[str, float]:
    """How the bounds of the fuel's mean age did."""
    low, high, true = (
        table[f"{name}_d"].to_numpy() for name in ("fuel_age_low", "fuel_age_high", "true_age")
    )
    best = table["fuel_age_d"].to_numpy()
    return {
        "age_held": float(((low - 1e-6 <= true) & (true <= high + 1e-6)).mean()),
        "age_width_d": float((high - low).mean()),
        "age_narrowest_d": 2 * float(np.quantile(np.abs(true - best), 0.95, method="higher")),
    }


@pytest.mark.study
@pytest.mark.parametrize("case", [*CASES, *MIXTURES])
def test_bounds_hold_the_truth_and_are_not_wide_for_it(case: str) -> None:
    """Five worlds of 400 burns."""
    found = judged((CASES | MIXTURES)[case], SEEDS)
    print(f"\n{line(case, found)}")

    assert found.burns == 2000
    assert found.held >= 0.95
    assert found.known_missed <= 0.05
    assert found.width_on <= 2 * found.narrowest_on
    assert found.age_held >= 0.95


def line(case: str, found: Held) -> str:
    """A row of the table in ledger_truth.md."""
    return (
        f"| {case} | {found.held:.1%} | {found.known:.0%} | {found.known_missed:.1%} | "
        f"{found.width_on:.2f} | {found.narrowest_on:.2f} | "
        f"{found.width_on / found.narrowest_on:.2f} | {found.error_on:.2f} | "
        f"{found.age_held:.1%} | {found.age_width_d:.1f} | {found.age_narrowest_d:.1f} |"
    )


def test_where_all_is_recorded_the_value_is_exact_and_bounds_are_the_labels_own() -> None:
    """Labels true to the number, burns metered, tanks dipped, the pump's counter read."""
    world = World(hulls=4, rides=60, label_off_on=0.0, measured=True, steady=1.0)
    book = written(world, 3)
    fuel = ledger_of(book, world, ASSUMPTIONS).sessions
    true = np.array([octane for _, _, octane, _ in sorted(book.truth)])
    spread = ASSUMPTIONS.number("octane.label_spread_on")

    # 1e-9: sums of doubles over some hundred fills in another order
    assert fuel["octane_aki"].to_numpy() == pytest.approx(true, abs=1e-9)
    width = (fuel["octane_high_aki"] - fuel["octane_low_aki"]).to_numpy()
    assert width.min() >= 2 * spread - 1e-9
    assert (width <= 2 * spread + 1e-9).mean() > 0.9
