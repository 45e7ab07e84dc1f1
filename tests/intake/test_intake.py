import json

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import Intake, take_in
from ringland.intake.rows_on_record import now_ended, split_new
from ringland.intake.written.raw_text import RecordFileError, read_raw
from tests.history.record_rows import KNOWN, VALID_TEXT, csv_of

EVERY_KIND = pytest.mark.parametrize("kind", list(RECORD_KINDS))


def load(kind: str, *rows: dict[str, str], file_name: str = "f.csv") -> Intake:
    return take_in(RECORD_KINDS[kind], read_raw(file_name, csv_of(rows)), KNOWN)


def session(**cells: str) -> dict[str, str]:
    return VALID_TEXT["sessions"] | {"burned_l": ""} | cells


def said(intake: Intake) -> list[tuple[int, str, str]]:
    return intake.set_aside.select("source_row", "field", "fault").rows()


@EVERY_KIND
def test_a_valid_row_is_loaded_with_its_types_and_its_place(kind: str) -> None:
    intake = load(kind, VALID_TEXT[kind], file_name="week 20.csv")

    assert (intake.rows_in, intake.rows_loaded, intake.rows_set_aside) == (1, 1, 0)
    schema = RECORD_KINDS[kind].schema
    schema.validate(intake.loaded.select(schema.column_names()))
    assert intake.loaded.select("source_file", "source_row").row(0) == ("week 20.csv", 2)


def wrong_type(kind: str) -> tuple[dict[str, str], str] | None:
    columns = RECORD_KINDS[kind].schema.columns()
    for name in VALID_TEXT[kind]:
        if type(columns[name]).__name__ != "String":
            return VALID_TEXT[kind] | {name: "about noon"}, name
    return None


@EVERY_KIND
def test_a_wrong_type_is_set_aside_once_with_its_field_and_remedy(kind: str) -> None:
    corrupted = wrong_type(kind)
    assert corrupted is not None
    row, field = corrupted

    intake = load(kind, row)

    assert intake.set_aside["field"].to_list() == [field]
    assert intake.set_aside["value"].to_list() == ["about noon"]
    assert "about noon" in intake.set_aside["fault"][0]
    assert intake.set_aside["remedy"][0].startswith("Write")
    assert json.loads(intake.set_aside["raw_row"][0]) == row


@EVERY_KIND
def test_a_missing_required_column_refuses_the_file_by_name(kind: str) -> None:
    columns = RECORD_KINDS[kind].schema.columns()
    needed = next(name for name in VALID_TEXT[kind] if not columns[name].nullable)
    row = {name: cell for name, cell in VALID_TEXT[kind].items() if name != needed}

    with pytest.raises(RecordFileError, match=f"f.csv, row 1: The file lacks {needed}; it has "):
        load(kind, row)


@EVERY_KIND
def test_a_missing_optional_column_is_empty_and_noted(kind: str) -> None:
    intake = load(kind, VALID_TEXT[kind])

    assert intake.loaded["recorded_at"].null_count() == 1
    assert intake.notes[0].startswith("Not in the file, so empty: ")
    assert "recorded_at" in intake.notes[0]


IMPOSSIBLE = {
    "docks": ("altitude_m", "9000"),
    "hulls": ("tank_l", "4300"),
    "engines": ("induction", "steam"),
    "installations": ("removed_at", "2023-06-01T08:00:00Z"),
    "piston_sets": ("piston_type", "wood"),
    "hour_readings": ("meter_h", "-3"),
    "deliveries": ("octane_aki", "9.1"),
    "fills": ("volume_l", "4300"),
    "drains": ("volume_l", "4300"),
    "sessions": ("full_throttle_share", "30"),
    "calibrations": ("octane_need_aki", "9"),
    "inspections": ("measure", "colour"),
    "failures": ("last_good_at", "2026-06-01T08:00:00Z"),
    "teardowns": ("state", "maybe"),
    "rebuilds": ("cost", "-1"),
    "releases": ("until", "2025-01-01T08:00:00Z"),
    "jobs_done": ("result", "maybe"),
    "costs": ("season", "25"),
    "evidence": ("cylinder", "99"),
    "build_limits": ("kind", "maybe"),
    "build_readings": ("barometer_kpa", "9"),
    "dock_tanks": ("tank_l", "9"),
    "dips": ("level_l", "-1"),
    "pump_totals": ("total_l", "-1"),
    "pump_outs": ("volume_l", "0"),
    "fuel_tests": ("octane_aki", "9.1"),
    "transfers": ("volume_l", "4300"),
}


@EVERY_KIND
def test_an_impossible_value_is_set_aside_once(kind: str) -> None:
    field, cell = IMPOSSIBLE[kind]

    intake = load(kind, VALID_TEXT[kind] | {field: cell})

    assert intake.rows_set_aside == 1
    assert intake.set_aside.height == 1
    assert field in intake.set_aside["field"][0]


@EVERY_KIND
def test_the_same_row_twice_is_loaded_once(kind: str) -> None:
    intake = load(kind, VALID_TEXT[kind], VALID_TEXT[kind])

    assert intake.loaded["source_row"].to_list() == [2]
    assert said(intake) == [(3, ", ".join(RECORD_KINDS[kind].key), "Same as row 2 of this file.")]


@pytest.mark.parametrize("kind", [name for name, kind in RECORD_KINDS.items() if kind.refers_to])
def test_an_unknown_hull_engine_or_dock_is_set_aside_with_the_nearest_known(kind: str) -> None:
    field, other = next(iter(RECORD_KINDS[kind].refers_to.items()))
    near = {"hulls": ("H011", "H01"), "engines": ("E11", "E1"), "docks": ("noth", "north")}
    written, meant = near[other]

    intake = load(kind, VALID_TEXT[kind] | {field: written})

    assert said(intake) == [(2, field, f"{field} '{written}' is not on record among the {other}.")]
    assert intake.set_aside["remedy"][0].startswith(f"Did you mean '{meant}'?")


def test_an_unknown_id_unlike_any_other_is_shown_those_on_record() -> None:
    intake = load("sessions", session(hull_id="zebra"))

    assert intake.set_aside["remedy"][0] == (
        "Add it to the hulls first, or write one on record: H01, H02."
    )


def test_without_any_hull_on_record_the_remedy_is_to_load_the_hulls() -> None:
    raw = read_raw("f.csv", csv_of([session()]))

    intake = take_in(RECORD_KINDS["sessions"], raw, {})

    assert intake.set_aside["remedy"].to_list() == ["Load the hulls first; none are on record."]


@pytest.mark.parametrize(
    ("cells", "fault"),
    [
        ({"burned_l": "4300"}, "burned_l is 4,300 but may be at most 400 l."),
        ({"burned_l": "-0.5"}, "burned_l is -0.5 but must be at least 0 l."),
        ({"burned_l": "inf"}, "burned_l is not a finite number."),
        ({"burned_l": "nan"}, "burned_l is not a finite number."),
        ({"running_h": "0.5 h"}, "running_h is '0.5 h', which is not a number."),
        ({"running_h": ""}, "running_h is empty."),
        (
            {"started_at": "2024-05-02T09:00:00"},
            "started_at is '2024-05-02T09:00:00', which has no time zone.",
        ),
        ({"started_at": "2024-05-02"}, "started_at is '2024-05-02', which has no time zone."),
        (
            {"started_at": "2024-02-30T09:00:00Z"},
            "started_at is '2024-02-30T09:00:00Z', which is not an instant.",
        ),
        (
            {"started_at": "0205-05-02T09:00:00Z"},
            "started_at is 0205-05-02T09:00:00Z but must be at least 1990-01-01.",
        ),
        (
            {"started_at": "2024-05-02T11:00:00Z"},
            "ended_at is not after started_at.",
        ),
        (
            {"running_h": "1.2"},
            "running_h is longer than the time between started_at and ended_at.",
        ),
        ({"running_h": "500"}, "running_h is 500 but may be at most 24 h."),
    ],
)
def test_each_fault_is_said_once_in_plain_words(cells: dict[str, str], fault: str) -> None:
    intake = load("sessions", session(**cells))

    assert intake.set_aside["fault"].to_list() == [fault]


@pytest.mark.parametrize("cell", ["12 l", "1_000"])
def test_an_optional_cell_that_cannot_be_read_costs_that_cell(cell: str) -> None:
    """Found in use: one word in a column nobody needs kept the whole rental out of the ledger."""
    intake = load("sessions", session(burned_l=cell))

    assert (intake.rows_loaded, intake.rows_set_aside) == (1, 0)
    assert intake.loaded["burned_l"].to_list() == [None]
    assert intake.lost_cells.select("field", "fault", "value", "record_key").rows() == [
        (
            "burned_l",
            f"burned_l is '{cell}', which is not a number. The record is loaded without it.",
            cell,
            "H01; 2024-05-02T09:00:00Z",
        )
    ]


def test_an_optional_cell_whose_emptiness_says_something_costs_the_row() -> None:
    stay = VALID_TEXT["installations"] | {"removed_at": "last week"}

    intake = load("installations", stay)

    assert (intake.rows_loaded, intake.lost_cells.height) == (0, 0)
    assert intake.set_aside["field"].to_list() == ["removed_at"]


def test_a_row_with_three_faults_counts_once_and_names_all_three() -> None:
    intake = load("sessions", session(hull_id="H9", running_h="long", burned_l="900"))

    assert (intake.rows_in, intake.rows_loaded, intake.rows_set_aside) == (1, 0, 1)
    assert sorted(intake.set_aside["field"]) == ["burned_l", "hull_id", "running_h"]


@pytest.mark.parametrize(
    "written",
    [
        "2024-05-02T09:00:00Z",
        "2024-05-02 09:00:00Z",
        "2024-05-02T09:00Z",
        "2024-05-02T09:00:00.000Z",
        "2024-05-02T04:00:00-05:00",
        "2024-05-02T11:00:00+0200",
    ],
)
def test_an_instant_with_zone_or_offset_is_read_as_utc(written: str) -> None:
    intake = load("sessions", session(started_at=written))

    assert intake.loaded["started_at"].dt.strftime("%Y-%m-%dT%H:%M:%S").to_list() == [
        "2024-05-02T09:00:00"
    ]


@pytest.mark.parametrize(
    ("written", "read"),
    [("yes", True), ("TRUE", True), ("1", True), ("No", False), ("false", False), ("0", False)],
)
def test_yes_and_no_are_read_in_every_usual_way(written: str, read: bool) -> None:
    intake = load("rebuilds", VALID_TEXT["rebuilds"] | {"is_head_tested": written})

    assert intake.loaded["is_head_tested"].to_list() == [read]


def test_a_whole_number_may_come_as_a_workbook_writes_it_but_not_with_a_fraction() -> None:
    whole = load("engines", VALID_TEXT["engines"] | {"cylinders": "4.0"})
    broken = load("engines", VALID_TEXT["engines"] | {"cylinders": "3.5"})

    assert whole.loaded["cylinders"].to_list() == [4]
    assert said(broken) == [(2, "cylinders", "cylinders is '3.5', which is not a whole number.")]


def test_a_key_with_other_values_keeps_the_first_row_and_names_what_differs() -> None:
    intake = load("sessions", session(), session(running_h="0.7"), session(), session(burned_l="9"))

    assert intake.loaded["source_row"].to_list() == [2]
    key = "hull_id, started_at"
    assert said(intake) == [
        (3, key, f"Same {key} as row 2 of this file, but another running_h."),
        (4, key, "Same as row 2 of this file."),
        (5, key, f"Same {key} as row 2 of this file, but another burned_l."),
    ]
    assert intake.set_aside["value"][0] == "H01; 2024-05-02T09:00:00Z"


def test_nulls_in_a_key_are_equal() -> None:
    whole_engine = VALID_TEXT["inspections"] | {"cylinder": ""}

    intake = load("inspections", whole_engine, whole_engine, VALID_TEXT["inspections"])

    assert intake.loaded["source_row"].to_list() == [2, 4]
    assert intake.set_aside["fault"].to_list() == ["Same as row 2 of this file."]


def test_a_faulty_row_does_not_keep_a_later_good_one_out() -> None:
    intake = load("sessions", session(running_h="x"), session(running_h="0.7"))

    assert intake.loaded["source_row"].to_list() == [3]
    assert intake.set_aside["source_row"].to_list() == [2]


def test_columns_that_are_not_ours_are_noted_and_kept_with_a_row_set_aside() -> None:
    intake = load("sessions", session(running_h="x") | {"Weather": "gusty"})

    assert "Columns not used: weather." in intake.notes
    assert json.loads(intake.set_aside["raw_row"][0])["weather"] == "gusty"


def test_torn_rows_are_set_aside_and_accounted_for() -> None:
    content = csv_of([session(), session(hull_id="H02")]) + b"H01,2024\n"

    intake = take_in(RECORD_KINDS["sessions"], read_raw("f.csv", content), KNOWN)

    assert (intake.rows_in, intake.rows_loaded, intake.rows_set_aside) == (3, 2, 1)
    assert said(intake) == [(4, None, "The row has 2 fields but the header has 6.")]


@EVERY_KIND
def test_loading_the_same_file_twice_adds_nothing(kind: str) -> None:
    name = RECORD_KINDS[kind]
    loaded = load(kind, VALID_TEXT[kind]).loaded

    first = split_new(name, loaded, loaded.clear())
    second = split_new(name, loaded, first.new)

    assert first.new.height == 1
    assert (second.new.height, second.already_there.height) == (0, 1)
    assert second.conflicts_set_aside.is_empty()
    assert now_ended(name, loaded, first.new).is_empty()


def test_next_weeks_full_export_adds_only_what_is_new_and_sets_conflicts_aside() -> None:
    kind = RECORD_KINDS["sessions"]
    last_week = load("sessions", session(), session(hull_id="H02"), file_name="w1.csv").loaded
    this_week = load(
        "sessions",
        session() | {"recorded_at": "2024-05-09T08:00:00Z"},
        session(hull_id="H02", running_h="0.5") | {"recorded_at": ""},
        session(started_at="2024-05-02T09:30:00Z", running_h="0.3") | {"recorded_at": ""},
        file_name="w2.csv",
    ).loaded

    new, already_there, conflicts = split_new(kind, this_week, last_week)

    assert new["source_row"].to_list() == [4]
    assert already_there["source_row"].to_list() == [2]
    assert conflicts.select("source_file", "source_row", "fault").row(0) == (
        "w2.csv",
        3,
        "Same hull_id, started_at as row 3 of w1.csv, but another running_h.",
    )
    assert json.loads(conflicts["raw_row"][0])["running_h"] == 0.5


def test_an_end_that_has_come_since_is_no_conflict_and_completes_the_row_on_record() -> None:
    kind = RECORD_KINDS["installations"]
    still_in = VALID_TEXT["installations"] | {
        "removed_at": "", "recorded_at": "2024-05-02T08:00:00Z",
    }  # fmt: skip
    came_out = still_in | {
        "removed_at": "2025-06-01T08:00:00Z", "recorded_at": "2025-06-02T08:00:00Z",
    }  # fmt: skip
    on_record = load("installations", still_in).loaded
    export = load("installations", came_out).loaded

    parts = split_new(kind, export, on_record)
    ended = now_ended(kind, export, on_record)

    assert [part.height for part in parts] == [0, 1, 0]
    assert ended["removed_at"].to_list() == export["removed_at"].to_list()
    assert ended["recorded_at"].to_list() == on_record["recorded_at"].to_list()
    assert now_ended(kind, on_record, export).is_empty()  # an older export takes no end away


def test_another_end_is_a_conflict() -> None:
    kind = RECORD_KINDS["installations"]
    on_record = load("installations", VALID_TEXT["installations"]).loaded
    later = load(
        "installations", VALID_TEXT["installations"] | {"removed_at": "2025-07-01T08:00:00Z"}
    ).loaded

    assert split_new(kind, later, on_record).conflicts_set_aside.height == 1


def taken_in_or_refused(kind: str, content: bytes) -> Intake | RecordFileError:
    try:
        return take_in(RECORD_KINDS[kind], read_raw("f.csv", content), KNOWN)
    except RecordFileError as refusal:
        return refusal


MUTATIONS = st.lists(
    st.tuples(
        st.integers(0, 2),
        st.integers(0, 30),
        st.one_of(
            st.text(max_size=12),
            st.sampled_from(
                ["", '"', ",", "\n", "1e999", "-0", "nan", "9" * 40, "2025-13-01T00:00:00Z",
                 "9999-12-31T23:59:59Z", "-9999-01-01T00:00:00Z", "0000-01-01T00:00:00Z", "\x00"]
            ),
        ),
    ),
    max_size=6,
)  # fmt: skip


@EVERY_KIND
@settings(derandomize=True, deadline=None, max_examples=40)
@given(mutations=MUTATIONS)
def test_no_text_in_any_cell_breaks_the_row_account(
    kind: str, mutations: list[tuple[int, int, str]]
) -> None:
    names = list(VALID_TEXT[kind])
    rows = [dict(VALID_TEXT[kind]) for _ in range(3)]
    for row, column, text in mutations:
        rows[row][names[column % len(names)]] = text
    intake = taken_in_or_refused(kind, csv_of(rows))
    if isinstance(intake, RecordFileError):
        assert intake.remedy
        return

    assert intake.rows_in == intake.rows_loaded + intake.rows_set_aside
    assert set(intake.loaded["source_row"]).isdisjoint(intake.set_aside["source_row"])
    assert intake.set_aside.select("source_row", "field").is_duplicated().sum() == 0
    schema = RECORD_KINDS[kind].schema
    assert schema.is_valid(intake.loaded.select(schema.column_names()))
    again = split_new(RECORD_KINDS[kind], intake.loaded, intake.loaded)
    assert again.already_there.equals(intake.loaded)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    content=st.one_of(
        st.binary(max_size=60),
        st.text(max_size=60).map(str.encode),
        st.binary(max_size=30).map(lambda tail: csv_of([VALID_TEXT["fills"]]) + tail),
    )
)
def test_no_bytes_raise_anything_but_a_record_file_error(content: bytes) -> None:
    intake = taken_in_or_refused("fills", content)

    if isinstance(intake, RecordFileError):
        assert intake.file == "f.csv"
        assert intake.remedy
    else:
        assert intake.rows_in == intake.rows_loaded + intake.rows_set_aside


def test_an_empty_table_loads_nothing_and_closes_its_account() -> None:
    header = ",".join(VALID_TEXT["sessions"]).encode() + b"\n"

    intake = take_in(RECORD_KINDS["sessions"], read_raw("f.csv", header), KNOWN)

    assert (intake.rows_in, intake.rows_loaded, intake.rows_set_aside) == (0, 0, 0)
    assert intake.loaded.schema["started_at"] == pl.Datetime("us", "UTC")
