"""Entries get the checks of files, in the same words."""

import csv
import io
from datetime import UTC, datetime
from uuid import uuid4

import polars as pl
import pytest

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS
from ringland.dockside.entries import (
    Entry,
    EntryFault,
    StampedEntry,
    check_entries,
    key_of,
    read_entry,
)
from ringland.dockside.journal_lines import files_of, journal_line, read_line
from ringland.intake.intake import SOURCE_FILE, take_in_file
from ringland.intake.written.raw_text import SOURCE_ROW
from tests.dockside.small_shop import NOW, entry, shop, stamped


def test_a_good_entry_is_read_and_has_no_fault() -> None:
    told = {
        "id": str(uuid4()),
        "kind": "fills",
        "cells": {"hull_id": "A1", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "30",
                  "source": "outside", "octane_aki": "91", "price_per_l": " "},
        "written_at": "2026-08-18T11:00:00+02:00",
    }  # fmt: skip

    read = read_entry(told)

    assert isinstance(read, Entry)
    assert "price_per_l" not in read.cells
    assert check_entries([stamped(read)], shop()).faults == [[]]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"id": "7"}, "id"),
        ({"id": 7}, "id"),
        ({"kind": "filings"}, "kind"),
        ({"kind": ["fills"]}, "kind"),
        ({"cells": {}}, "cells"),
        ({"cells": [1]}, "cells"),
        ({"cells": {"hull_id": 3}}, "hull_id"),
        ({"cells": {"hull": "A1"}}, "hull"),
        ({"cells": {"recorded_at": "2020-01-01T00:00:00Z"}}, "recorded_at"),
        ({"cells": {"hull_id": "A" * 2001}}, "hull_id"),
        ({"cells": {"hull_id": "A\x00"}}, "hull_id"),
        ({"cells": {"hull_id": "A\ud800"}}, "hull_id"),
        ({"written_at": "2026-08-18T11:00:00"}, "written_at"),
        ({"written_at": "yesterday"}, "written_at"),
    ],
)
def test_what_is_no_entry_is_told_by_field(change: dict[str, object], field: str) -> None:
    good = {"id": str(uuid4()), "kind": "fills", "cells": {"hull_id": "A1"},
            "written_at": "2026-08-18T11:00:00Z"}  # fmt: skip

    found = read_entry({**good, **change})

    assert isinstance(found, list)
    assert [one.field for one in found] == [field]


@pytest.mark.parametrize("told", [None, 3, "x", [], [1]])
def test_what_is_no_object_is_no_entry(told: object) -> None:
    assert isinstance(read_entry(told), list)


BAD_ROWS = [
    {"volume_l": "thirty"},
    {"volume_l": "3000"},
    {"hull_id": "A9"},
    {"source": "dock"},
    {"filled_at": "18/8/26"},
    {"octane_aki": "9l"},
    {"is_full": "perhaps"},
]


@pytest.mark.parametrize("change", BAD_ROWS)
def test_an_entry_hears_what_a_row_of_a_file_would(change: dict[str, str]) -> None:
    cells = {"hull_id": "A1", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "30",
             "source": "outside", "octane_aki": "91"} | change  # fmt: skip
    ground, kind = shop(), RECORD_KINDS["fills"]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(cells))
    writer.writeheader()
    writer.writerow(cells)

    found = check_entries([stamped(entry("fills", cells))], ground).faults[0]
    intake = take_in_file(kind, "fills.csv", text.getvalue().encode(), ground.known(kind),
                          ground.clocks)  # fmt: skip

    as_file = pl.concat(
        [intake.set_aside.select("field", "fault"), intake.lost_cells.select("field", "fault")]
    )
    assert found
    assert [one.field for one in found] == as_file["field"].to_list()
    for one, fault in zip(found, as_file["fault"], strict=True):
        assert one.message.startswith(fault.removesuffix(" The record is loaded without it."))


def test_a_local_time_is_read_by_the_docks_clock() -> None:
    cells = {"hull_id": "A1", "filled_at": "2026-08-18T09:00", "volume_l": "30",
             "source": "outside"}  # fmt: skip

    checked = check_entries([stamped(entry("fills", cells))], shop(zone="America/Chicago"))

    assert checked.faults == [[]]
    assert checked.loaded["filled_at"].to_list() == [datetime(2026, 8, 18, 14, tzinfo=UTC)]


def test_an_entry_that_contradicts_the_record_is_told_so() -> None:
    """It was kept at first and set aside at the load, when nobody stood beside it any more."""
    cells = {"hull_id": "A1", "filled_at": "2026-08-01T09:00:00Z", "volume_l": "31",
             "source": "outside", "octane_aki": "91"}  # fmt: skip

    contradicts = check_entries([stamped(entry("fills", cells))], shop()).faults[0]
    same = check_entries([stamped(entry("fills", cells | {"volume_l": "30"}))], shop()).faults[0]

    assert [one.field for one in contradicts] == ["hull_id, filled_at"]
    assert "another volume_l" in contradicts[0].message
    assert same == []


def test_an_entry_may_say_what_a_correction_made_of_the_record() -> None:
    put_right = {"record_kind": "fills", "record_key": "A1; 2026-08-01T09:00:00Z",
                 "change": "corrected", "field": "volume_l", "new_value": "31",
                 "reason": "misread"}  # fmt: skip
    ground = shop()
    checked = check_entries([stamped(entry(CORRECTIONS.name, put_right))], ground)
    assert checked.faults == [[]]
    records = {**ground.records, CORRECTIONS.name: checked.loaded}
    cells = {"hull_id": "A1", "filled_at": "2026-08-01T09:00:00Z", "volume_l": "31",
             "source": "outside", "octane_aki": "91"}  # fmt: skip

    found = check_entries([stamped(entry("fills", cells))], type(ground)(records, "us"))

    assert found.faults == [[]]


def test_a_correction_of_no_record_is_refused() -> None:
    cells = {"record_kind": "fills", "record_key": "A1; 2026-08-02T09:00:00Z",
             "change": "withdrawn", "reason": "was another hull"}  # fmt: skip

    found = check_entries([stamped(entry(CORRECTIONS.name, cells))], shop()).faults[0]

    assert [one.field for one in found] == ["record_key"]


def test_what_waits_counts_as_on_record() -> None:
    cells = {"hull_id": "A2", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "30",
             "source": "outside"}  # fmt: skip
    first = check_entries([stamped(entry("fills", cells))], shop())
    ground = shop().while_waiting({"fills": first.loaded})

    found = check_entries([stamped(entry("fills", cells | {"volume_l": "40"}))], ground).faults[0]

    assert found == [EntryFault("hull_id, filled_at", found[0].message)]


def test_keys_are_the_same_however_an_instant_is_written() -> None:
    one = entry("fills", {"hull_id": "A1", "filled_at": "2026-08-18T09:00:00Z"})
    other = entry("fills", {"hull_id": " A1", "filled_at": "2026-08-18T11:00:00+02:00"})

    assert key_of(one) == key_of(other)


def test_a_line_of_the_journal_says_what_was_entered_and_a_changed_one_nothing() -> None:
    cells = {"hull_id": "A1", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "30",
             "source": "outside"}  # fmt: skip
    told = stamped(entry("fills", cells))

    line = journal_line(told)

    assert read_line(line) == told
    assert read_line(line.replace(b'"30"', b'"90"')) is None
    assert read_line(line[:-9]) is None
    assert read_line(b"\xff\xfe{}") is None


def test_files_of_entries_give_the_rows_that_were_checked() -> None:
    texts = ['a "quoted" word', "two\nlines", "a, b; c", "=1+1", "ünïcode 艇"]
    told = [
        stamped(entry("jobs_done", {"job_id": f"A1/check/{n}", "done_at": "2026-08-18T09:00:00Z",
                                    "done_by": "H. Quist", "result": "done", "note": text}))
        for n, text in enumerate(texts)
    ]  # fmt: skip
    checked = check_entries(told, shop())

    files = files_of(told, 7)

    assert list(files) == ["jobs_done_dockside_000007.csv"]
    content = files["jobs_done_dockside_000007.csv"].encode()
    kind = ALL_KINDS["jobs_done"]
    loaded = take_in_file(kind, "jobs_done.csv", content, {}).loaded.drop(SOURCE_FILE)
    assert loaded.drop(SOURCE_ROW).equals(checked.loaded.drop(SOURCE_FILE, SOURCE_ROW))
    assert loaded["note"].to_list() == texts
    assert loaded["recorded_at"].to_list() == [NOW] * len(texts)


def test_files_come_in_the_order_in_which_kinds_are_loaded() -> None:
    told: list[StampedEntry] = [
        stamped(entry(CORRECTIONS.name, {"reason": "x"})),
        stamped(entry("fills", {"hull_id": "A1"})),
        stamped(entry("hulls", {"hull_id": "A1"})),
    ]

    kinds = [name.partition("_dockside")[0] for name in files_of(told, 1)]

    assert kinds == ["hulls", "fills", "corrections"]
