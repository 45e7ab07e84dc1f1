"""What was written down since the list stands beside it: of one's own hulls, careful first."""

from datetime import datetime, timedelta

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.alerts import Alert
from ringland.dockside.entries import check_entries
from ringland.dockside.ground import Ground
from ringland.dockside.roles import DOCK_HAND, MECHANIC, Person, scope_of
from ringland.dockside.since_then import Told, beside_the_list, is_in, told_since
from tests.dockside.small_shop import NOW, entry, shop, stamped

MIA = Person("1", "Mia", MECHANIC)
NILS = Person("3", "Nils", DOCK_HAND, dock="south")
LISTED = NOW - timedelta(days=1)
FILL = {"hull_id": "A1", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "23.5",
        "source": "outside", "octane_aki": "91"}  # fmt: skip


def with_waiting(kind: str, *cells: dict[str, str]) -> Ground:
    ground = shop()
    checked = check_entries([stamped(entry(kind, one)) for one in cells], ground)
    assert checked.faults == [[] for _ in cells]
    return ground.while_waiting({kind: checked.loaded})


def told_to(person: Person, ground: Ground, since: datetime, now: datetime) -> list[Told]:
    scope = scope_of(person, ground)
    return [one for one in told_since(ground, since, now) if is_in(one, scope)]


def leak_down(cylinder: int, value: str) -> dict[str, str]:
    told = {"engine_id": "E3", "inspected_at": "2026-08-18T10:00:00Z", "measure": "leak_down"}
    return {**told, "cylinder": str(cylinder), "value": value, "unit": "%", "state": "measured"}


def test_an_entry_is_told_of_before_it_is_taken_in() -> None:
    told = told_to(MIA, with_waiting("fills", FILL), LISTED, NOW)

    assert [one.hull_id for one in told] == ["A1"]
    assert told[0].words.startswith("Fill, Tue 18 Aug 2026, 09:00 UTC: ")
    assert "volume 23.5 l" in told[0].words
    assert "octane (AKI) 91" in told[0].words


def test_a_tests_cylinders_are_one_line_of_the_hull_its_engine_sits_in() -> None:
    ground = with_waiting("inspections", leak_down(1, "8"), leak_down(2, "62"))

    told = told_to(MIA, ground, LISTED, NOW)

    assert [one.hull_id for one in told] == ["A1"]
    assert "cylinder 1, value 8 %" in told[0].words
    assert "cylinder 2, value 62 %" in told[0].words


def test_what_the_list_knew_and_what_is_anothers_is_not_told() -> None:
    ground = with_waiting("fills", FILL)

    assert told_to(NILS, ground, LISTED, NOW) == []
    assert told_to(MIA, ground, NOW, NOW) == []


def test_a_job_done_and_a_correction_are_told_of_their_hull() -> None:
    job = {"job_id": "A2/check/2026-08-10", "done_at": "2026-08-18T08:00:00Z", "done_by": "Mia",
           "result": "done"}  # fmt: skip
    told = told_to(MIA, with_waiting("jobs_done", job), LISTED, NOW)
    assert [one.hull_id for one in told] == ["A2"]

    ground = shop()
    rows = pl.DataFrame(
        {"record_kind": ["fills"], "record_key": ["A1; 2026-08-01T09:00:00Z"],
         "field": ["volume_l"], "new_value": ["31"], "recorded_at": [NOW]}
    )  # fmt: skip
    put = pl.concat([ground.records["corrections"], rows], how="diagonal_relaxed")
    ground = Ground({**ground.records, "corrections": put}, "us")
    told = told_to(MIA, ground, LISTED, NOW)
    assert [one.hull_id for one in told] == ["A1"]
    assert "31" in told[0].words


def test_every_kind_with_a_time_can_be_told() -> None:
    told = told_to(MIA, shop(), NOW - timedelta(days=900), NOW)

    assert {one.words.partition(",")[0] for one in told} >= {"Fill", "Hulls", "Installations"}
    assert set(ALL_KINDS) > {"fills", "hulls", "installations"}


def test_beside_the_list_the_alert_comes_first_and_text_stays_text() -> None:
    alert = Alert("x", NOW, "A1", "Oil in the hull <b>failed</b>.")
    told = told_to(MIA, with_waiting("fills", FILL), LISTED, NOW)

    html = beside_the_list(LISTED, told, [alert], of_one_hull=True)

    assert html.index("Do not rent") < html.index("Since then:") < html.index("Fill, Tue")
    assert "&lt;b&gt;" in html
    assert "Nothing was written down since." in beside_the_list(LISTED, [], [], of_one_hull=False)
    assert "older list" in beside_the_list(None, [], [], of_one_hull=False)


def test_an_entry_that_waits_to_be_taken_in_can_be_put_right() -> None:
    """A correction made a moment after its entry was refused as of a record that is not there."""
    put = {"record_kind": "fills", "record_key": "A1; 2026-08-18T09:00:00Z", "field": "volume_l",
           "change": "corrected", "new_value": "32.5", "reason": "read upside down"}  # fmt: skip

    told = check_entries([stamped(entry("corrections", put))], with_waiting("fills", FILL))

    assert told.faults == [[]]
