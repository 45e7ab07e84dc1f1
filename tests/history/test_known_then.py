from datetime import datetime, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.history.known_then import known_by, same_known
from tests.history.record_rows import at, records
from tests.network import two_operators as shop

AS_OF = at("06-10 00:00")


def test_a_row_is_known_from_the_later_of_its_event_and_its_writing_down() -> None:
    known = known_by(
        records(
            sessions=[
                {"hull_id": "on time", "ended_at": at("06-09 10:00"), "recorded_at": None},
                {"hull_id": "just now", "ended_at": AS_OF, "recorded_at": None},
                {"hull_id": "later", "ended_at": at("06-10 00:01"), "recorded_at": None},
                {"hull_id": "late entry", "ended_at": at("06-01 10:00"),
                 "recorded_at": at("06-11 08:00")},
                {"hull_id": "booked ahead", "ended_at": at("06-12 10:00"),
                 "recorded_at": at("06-01 08:00")},
                {"hull_id": "filled in", "ended_at": at("06-01 10:00"),
                 "recorded_at": at("06-05 08:00")},
            ]
        ),
        AS_OF,
    )  # fmt: skip

    assert known["sessions"]["hull_id"].to_list() == ["on time", "just now", "filled in"]


def test_a_kind_without_event_time_is_known_always_or_from_its_writing_down() -> None:
    known = known_by(
        records(
            costs=[
                {"item": "always", "recorded_at": None},
                {"item": "written", "recorded_at": at("06-01 00:00")},
                {"item": "not yet", "recorded_at": at("07-01 00:00")},
            ]
        ),
        AS_OF,
    )

    assert known["costs"]["item"].to_list() == ["always", "written"]


def test_an_end_that_has_not_come_is_blank_and_so_is_what_is_told_with_it() -> None:
    known = known_by(
        records(
            installations=[
                {"engine_id": "E1", "installed_at": at("05-01 00:00"),
                 "removed_at": at("06-01 00:00")},
                {"engine_id": "E2", "installed_at": at("05-01 00:00"),
                 "removed_at": at("07-01 00:00")},
            ],
            failures=[
                {"engine_id": "E1", "found_at": at("06-01 00:00"), "confirmed_cause": "fuel",
                 "cause_confirmed_at": at("07-01 00:00")},
                {"engine_id": "E2", "found_at": at("06-01 00:00"), "confirmed_cause": "tune",
                 "cause_confirmed_at": at("06-05 00:00")},
            ],
        ),
        AS_OF,
    )  # fmt: skip

    assert known["installations"]["removed_at"].to_list() == [at("06-01 00:00"), None]
    assert known["failures"]["confirmed_cause"].to_list() == [None, "tune"]
    assert known["failures"]["cause_confirmed_at"].to_list() == [None, at("06-05 00:00")]


def test_an_instant_without_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        known_by(records(), datetime(2025, 6, 10))


INSTANTS = st.integers(-500, 500).map(lambda hours: AS_OF + timedelta(hours=hours))


@st.composite
def rows_of(draw: st.DrawFn, kind: str, planted: bool) -> pl.DataFrame:
    """Rows of a kind with drawn instants; planted ones are known only after `AS_OF`."""
    schema = {name: spec.dtype for name, spec in RECORD_KINDS[kind].schema.columns().items()}
    count = draw(st.integers(0, 4))
    instants = [name for name, dtype in schema.items() if dtype == pl.Datetime("us", "UTC")]
    rows = []
    for number in range(count):
        row: dict[str, object] = {name: draw(st.none() | INSTANTS) for name in instants}
        event_time = RECORD_KINDS[kind].event_time
        if event_time is not None:
            row[event_time] = draw(INSTANTS)
        if planted:
            later = AS_OF + timedelta(hours=draw(st.integers(1, 500)))
            row[draw(st.sampled_from(["recorded_at", event_time or "recorded_at"]))] = later
        first_text = next(name for name, dtype in schema.items() if dtype == pl.String)
        rows.append(row | {first_text: f"{'planted' if planted else 'row'} {number}"})
    return pl.DataFrame(rows, schema=schema)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(data=st.data(), kind=st.sampled_from(list(RECORD_KINDS)))
def test_planting_rows_known_later_changes_nothing(data: st.DataObject, kind: str) -> None:
    then = data.draw(rows_of(kind, planted=False))
    later = data.draw(rows_of(kind, planted=True))

    known = known_by({kind: then}, AS_OF)[kind]
    with_planted = known_by({kind: pl.concat([then, later])}, AS_OF)[kind]

    assert with_planted.equals(known)
    assert not known.select(
        pl.any_horizontal(
            pl.lit(value=False), *((pl.col(end) > AS_OF) for end in RECORD_KINDS[kind].ends)
        ).any()
    ).item()


@settings(derandomize=True, deadline=None, max_examples=100)
@given(data=st.data(), kind=st.sampled_from(list(RECORD_KINDS)), later_h=st.integers(0, 600))
def test_what_is_known_never_becomes_less(data: st.DataObject, kind: str, later_h: int) -> None:
    rows = data.draw(rows_of(kind, planted=False)).with_row_index("number")

    now = known_by({kind: rows}, AS_OF)[kind]
    later = known_by({kind: rows}, AS_OF + timedelta(hours=later_h))[kind]

    assert set(now["number"]) <= set(later["number"])


def test_what_is_known_stays_the_same_from_the_last_instant_told_to_the_next() -> None:
    """Work on an operator's rows is reused between these: a removal told ahead ends it."""
    rows = shop.two_operators()
    removed = shop.CAME + timedelta(days=60)
    stays = rows["installations"].with_columns(
        removed_at=pl.when(pl.col("hull_id") == "a1").then(pl.lit(removed))
    )
    rows = rows | {"installations": stays}

    since, until = same_known(rows, shop.AS_OF - timedelta(days=10))

    assert until == removed
    assert since == rows["sessions"]["ended_at"].max()
    assert same_known(rows, shop.AS_OF) == (removed, None)
    before, after = (known_by(rows, at) for at in (since, removed - timedelta(seconds=1)))
    assert all(before[kind].equals(after[kind]) for kind in rows)
    assert not known_by(rows, removed)["installations"].equals(after["installations"])


def test_a_correction_not_told_yet_ends_what_is_known() -> None:
    told = shop.AS_OF + timedelta(days=3)
    filled_at = shop.CAME + timedelta(days=1, hours=8)
    rows = shop.added(
        shop.two_operators(), "corrections", record_kind="fills", change="withdrawn",
        record_key=f"a1; {filled_at:%Y-%m-%dT%H:%M:%SZ}", reason="twice", recorded_at=told,
    )  # fmt: skip

    assert same_known(rows, shop.AS_OF)[1] == told
    assert same_known(rows, told) == (told, None)
