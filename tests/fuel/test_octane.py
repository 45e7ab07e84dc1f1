import json
from pathlib import Path

import polars as pl
import pytest

from ringland.fuel.octane import (
    boosted_on,
    octane_index,
    with_aki,
)
from ringland.settings.assumptions import load_assumptions

ASSUMPTIONS = load_assumptions()
REFERENCE = Path(__file__).parents[1] / "reference_values" / "antiknock_index.json"
ROWS = json.loads(REFERENCE.read_text())["rows"]


def rated(aki: float | None = None, ron: float | None = None, mon: float | None = None) -> dict:
    columns = {"octane_aki": [aki], "octane_ron": [ron], "octane_mon": [mon]}
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.Float64))
    return with_aki(frame, ASSUMPTIONS).row(0, named=True)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"RON {row['ron']}")
def test_ron_and_mon_give_aki_exactly(row: dict[str, float]) -> None:
    fuel = rated(ron=row["ron"], mon=row["mon"])

    assert fuel["octane_best_aki"] == pytest.approx(row["aki"], rel=1e-12)  # arithmetic
    assert fuel["octane_low_aki"] == fuel["octane_high_aki"] == fuel["octane_best_aki"]
    assert not fuel["is_octane_converted"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"RON {row['ron']}")
def test_ron_or_mon_alone_is_flagged_and_bounded_by_the_sensitivity(row: dict[str, float]) -> None:
    for fuel in (rated(ron=row["ron"]), rated(mon=row["mon"])):
        assert fuel["is_octane_converted"]
        assert fuel["octane_low_aki"] <= row["aki"] <= fuel["octane_high_aki"]
        assert fuel["octane_high_aki"] - fuel["octane_low_aki"] == pytest.approx(
            ASSUMPTIONS.number("octane.sensitivity_spread_on")
        )


def test_no_rating_is_unknown_in_every_column() -> None:
    fuel = rated()

    assert fuel["octane_best_aki"] is None
    assert fuel["octane_low_aki"] is None
    assert fuel["octane_high_aki"] is None


def test_a_stated_aki_stands_whatever_else_is_written() -> None:
    assert rated(aki=91.0, ron=99.0)["octane_best_aki"] == 91.0


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"RON {row['ron']}")
def test_octane_index_is_aki_at_half_and_ron_at_none(row: dict[str, float]) -> None:
    """Kalghatgi's definition OI = RON - K S: K = 0.5 gives (RON + MON) / 2, K = 0 gives RON."""
    assert octane_index(row["aki"], row["sensitivity"], 0.5) == pytest.approx(row["aki"])
    assert octane_index(row["aki"], row["sensitivity"], 0.0) == pytest.approx(row["ron"])
    assert octane_index(row["aki"], row["sensitivity"], 1.0) == pytest.approx(row["mon"])


def test_thirty_booster_points_are_three_numbers() -> None:
    """Common practice, no source: ten points are one octane number."""
    assert boosted_on(30.0, ASSUMPTIONS) == 3.0
