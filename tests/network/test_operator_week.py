from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from ringland.network.bucket_sums import COUNTED, GROUPED, bucket_counts, grouped_counts, summed
from ringland.network.buckets import cut_by_operator
from ringland.network.operator_week import lasting_tables, operator_week, turning_tables
from ringland.settings.assumptions import load_assumptions
from tests.network.two_operators import AS_OF, two_operators

SETTINGS = load_assumptions()


def test_what_lasts_is_the_same_a_week_later_without_new_records() -> None:
    """The reuse of an operator's work from week to week rests on this."""
    records = two_operators()

    now = lasting_tables(records, SETTINGS, AS_OF)
    later = lasting_tables(records, SETTINGS, AS_OF + timedelta(days=120))

    assert now.keys() == later.keys()
    for name in now:
        assert_frame_equal(now[name], later[name], check_exact=True)


def test_the_two_parts_make_the_whole_week() -> None:
    records, later = two_operators(), AS_OF + timedelta(days=7)

    whole = operator_week(records, SETTINGS, later)
    lasting = lasting_tables(records, SETTINGS, AS_OF)
    turning = turning_tables(lasting, SETTINGS, later)

    assert whole.keys() == lasting.keys() | turning.keys()
    for name, table in (lasting | turning).items():
        assert_frame_equal(whole[name], table, check_exact=True)
    assert (turning["record_quality"]["days_since_session"] > 7).all()


def test_what_turns_needs_only_the_newest_events_of_the_tanks() -> None:
    """Read whole they were half of what an operator cost in whose records nothing was new."""
    records = two_operators()
    lasting = lasting_tables(records, SETTINGS, AS_OF)
    whole = lasting | {f"late_{name}": lasting[name] for name in ("tank_events", "dock_events")}
    last = lasting["tank_events"]["at"].max()
    assert isinstance(last, datetime)
    assert lasting["late_tank_events"].height < lasting["tank_events"].height

    for as_of in (last, AS_OF, *(AS_OF + timedelta(days=days) for days in (1, 13, 120))):
        found, wanted = (turning_tables(of, SETTINGS, as_of) for of in (lasting, whole))
        for name, table in wanted.items():
            assert_frame_equal(found[name], table, check_exact=True)
    assert found["tanks"].height == 6


def test_counts_have_one_last_digit_whatever_pieces_threads_left_the_tables_in() -> None:
    """45 operators in one process and in two had counts that differed in the last digit."""
    litres = np.random.default_rng(1).uniform(0.1, 2.0, 4_000)
    fuel = pl.DataFrame({"burn_l": litres, "unknown_share": litres / 2})
    runs = pl.DataFrame({"engine_h_start": 0.0, "engine_h_stop": litres})
    lasting = lasting_tables(two_operators(), SETTINGS, AS_OF)

    def counted(cut: int) -> list[float]:
        fuel_in_two, runs_in_two = (
            pl.concat([table[:cut], table[cut:]], rechunk=False) for table in (fuel, runs)
        )
        made = {"session_fuel": fuel_in_two, "engine_sessions": runs_in_two}
        return bucket_counts(lasting | made).tolist()

    assert all(counted(cut) == counted(1) for cut in (37, 1_500, 2_001, 3_999))


def test_operators_worked_out_apart_are_what_they_are_together() -> None:
    """All but the share of unknown fuel: how often fills go unwritten is each operator's own."""
    records = two_operators()
    together = operator_week(records, SETTINGS, AS_OF)

    apart = [
        operator_week(part, SETTINGS, AS_OF) for part in cut_by_operator(records, "h").values()
    ]

    for name, whole in together.items():
        both = apart[0][name].vstack(apart[1][name])
        found, wanted = (of.drop("unknown_share", strict=False) for of in (both, whole))
        assert_frame_equal(found, wanted, check_exact=True, check_row_order=False)
    counts = summed({"x": bucket_counts(apart[0]), "y": bucket_counts(apart[1])})
    known = [name != "unknown_l" for name in COUNTED]
    np.testing.assert_allclose(counts[known], bucket_counts(together)[known], rtol=1e-12)
    assert dict(zip(COUNTED, counts, strict=True))["running"] == 4


def test_a_sum_is_taken_in_the_order_of_names() -> None:
    """0.1 + 0.2 + 0.3 is not 0.3 + 0.2 + 0.1 in the last digit."""
    parts = {"b": 0.2, "c": 0.3, "a": 0.1}
    assert summed(parts) == (0.1 + 0.2) + 0.3
    assert summed(dict(reversed(parts.items()))) == summed(parts)
    assert summed(parts) != (0.3 + 0.2) + 0.1


def test_a_sum_over_no_bucket_is_refused() -> None:
    with pytest.raises(ValueError, match="no bucket"):
        summed({})


def test_seasons_and_kits_are_counted_from_the_spells() -> None:
    week = operator_week(two_operators(), SETTINGS, AS_OF)
    spells = week["spells"].with_row_index("row").with_columns(
        mode=pl.when(pl.col("row") == 0).then(pl.lit("ring_land_fracture")).when(
            pl.col("row") == 1).then(pl.lit("ring_wear")),
    )  # fmt: skip

    found = grouped_counts(week | {"spells": spells.drop("row")})

    hours = (spells["stop_h"] - spells["start_h"]).sum()
    assert list(found) == ["season 2026", "kit cast, original"]
    for counts in found.values():
        assert dict(zip(GROUPED, counts, strict=True)) == {
            "piston_sets": 4, "ring_land_fractures": 1, "other_failures": 1,
            "engine_h": pytest.approx(hours),
        }  # fmt: skip
