"""An alert comes about by the record that changes a state, and goes with what answers it."""

from datetime import datetime, timedelta

import polars as pl
import pytest

from ringland.bench.bench_limits import default_bench_limits
from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS
from ringland.dockside.alerts import Alert, alerts
from ringland.dockside.entries import check_entries
from ringland.dockside.ground import Ground
from ringland.settings.assumptions import load_assumptions
from tests.dockside.small_shop import NOW, entry, shop, stamped

AT = "2026-08-18T09:00:00Z"
SINCE = NOW - timedelta(days=7)
Row = tuple[str, dict[str, str]]


def with_rows(*rows: Row, ground: Ground | None = None) -> Ground:
    """The small shop, or other ground, with entries taken in, one after another."""
    ground = shop() if ground is None else ground
    for kind, cells in rows:
        checked = check_entries([stamped(entry(kind, cells))], ground)
        assert checked.faults == [[]], checked.faults
        more = pl.concat([ground.records[kind], checked.loaded])
        ground = Ground({**ground.records, kind: more}, "us")
    return ground


def told(*rows: Row, now: datetime = NOW, since: datetime = SINCE) -> list[Alert]:
    return alerts(with_rows(*rows), since, now, load_assumptions(), default_bench_limits())


def reading(cylinder: str, value: str, at: str = AT) -> Row:
    return "inspections", {"engine_id": "E3", "inspected_at": at, "measure": "leak_down",
                           "cylinder": cylinder, "state": "measured", "value": value,
                           "unit": "%"}  # fmt: skip


RAISED: Row = ("calibrations", {"engine_id": "E3", "in_force_at": "2026-07-01T00:00:00Z",
                                "calibration": "raised", "octane_need_aki": "93"})  # fmt: skip


def fill(**more: str) -> Row:
    cells = {"hull_id": "A1", "filled_at": AT, "volume_l": "30", "source": "outside"}
    return "fills", cells | more


FAILED = [reading("1", "5"), reading("2", "40"), reading("3", "6")]


def test_a_quiet_week_gives_none() -> None:
    assert told() == []
    assert told(reading("1", "5"), reading("2", "5"), reading("3", "6")) == []


def test_a_failed_leak_down_is_told_of_the_hull_the_engine_sits_in() -> None:
    """E3 sits in A1 since June; E1 sat there before."""
    (alert,) = told(*FAILED)

    assert (alert.hull_id, alert.at.hour) == ("A1", 9)
    assert "Leak-down failed on engine E3, cylinder 2: 40" in alert.words
    assert "Do not rent it until" in alert.words


def test_a_failed_test_that_was_answered_is_none() -> None:
    later = "2026-08-18T10:00:00Z"
    passed = [reading(str(number), "5", later) for number in (1, 2, 3)]
    released: Row = ("releases", {"released_at": later, "engine_id": "E3", "what": "leak_down",
                                  "released_by": "Olga", "why": "seen to"})  # fmt: skip

    assert told(*FAILED, *passed) == []
    assert told(*FAILED, *passed[:2]) != []
    assert told(*FAILED, released) == []


def test_oil_in_the_hull_is_told() -> None:
    oil: Row = ("inspections", {"engine_id": "E3", "inspected_at": AT, "measure": "hull_oil",
                                "state": "measured", "value": "400", "unit": "ml"})  # fmt: skip

    found = told(oil)

    assert [one.hull_id for one in found] == ["A1"]
    assert "Oil in the hull" in found[0].words


@pytest.mark.parametrize(("cells", "count"), [
    ({"octane_aki": "87"}, 1), ({"octane_aki": "93"}, 0), ({}, 0),
    ({"octane_ron": "91", "octane_mon": "83"}, 1),
    ({"source": "dock", "source_dock_id": "north"}, 1),
    ({"source": "dock", "source_dock_id": "south"}, 0),
])  # fmt: skip
def test_weak_fuel_in_a_raised_calibration_is_told(cells: dict[str, str], count: int) -> None:
    """A dock's fill without a grade counts as that dock's last delivery."""
    delivery: Row = ("deliveries", {"dock_id": "north", "delivered_at": "2026-08-10T09:00:00Z",
                                    "volume_l": "900", "octane_aki": "87"})  # fmt: skip

    found = told(RAISED, delivery, fill(**cells))

    assert len(found) == count
    if found:
        assert found[0].hull_id == "A1"
        assert "AKI was filled; the raised calibration of engine E3 needs 93.0" in found[0].words


def test_weak_fuel_is_no_alert_once_the_tank_is_drained_or_the_fill_taken_back() -> None:
    weak = fill(octane_aki="87")
    drained: Row = ("drains", {"hull_id": "A1", "drained_at": "2026-08-18T11:00:00Z"})
    back: Row = (CORRECTIONS.name, {"record_kind": "fills", "record_key": f"A1; {AT}",
                                    "change": "withdrawn", "reason": "another hull"})  # fmt: skip

    assert len(told(RAISED, weak)) == 1
    assert told(RAISED, weak, drained) == []
    assert len(told(RAISED, weak, (drained[0], drained[1] | {"volume_l": "5"}))) == 1
    assert told(RAISED, weak, back) == []


def test_a_tank_filled_with_weak_fuel_again_and_again_is_one_alert() -> None:
    """At 500 hulls each fill was an alert of its own: five thousand lines, and as many mails."""
    fills = [fill(octane_aki="87", filled_at=f"2026-08-1{day}T09:00:00Z") for day in (4, 5, 8)]
    drained: Row = ("drains", {"hull_id": "A1", "drained_at": "2026-08-18T10:00:00Z"})
    again = fill(octane_aki="87", filled_at="2026-08-18T11:00:00Z")

    (first,) = told(RAISED, fills[0])
    (third,) = told(RAISED, *fills)
    (after,) = told(RAISED, *fills, drained, again)

    assert first.id == third.id != after.id
    assert third.at.day == 18
    assert "87.0 AKI was filled (3 times since Fri 14 Aug 2026); the raised" in third.words


def test_weak_fuel_that_the_list_weighed_is_left_to_it_and_no_other() -> None:
    """On the demo 45 of 46 hulls stood at 'do not rent' for fills that the list had weighed."""
    weak = fill(octane_aki="87")
    graded: Row = (CORRECTIONS.name, {"record_kind": "fills", "record_key": f"A1; {AT}",
                                      "change": "corrected", "field": "octane_aki",
                                      "new_value": "86", "reason": "the slip says 86"})  # fmt: skip
    again = fill(octane_aki="87", filled_at="2026-08-18T09:20:00Z")
    at_ten = datetime.fromisoformat("2026-08-18T10:00:00Z")

    def since_the_list(*known: Row, later: Row | None = None) -> list[Alert]:
        """What was known was written down at once, the later row at noon, the list at ten."""
        ground = with_rows(*known)
        at_once = pl.lit(None, dtype=pl.Datetime("us", "UTC")).alias("recorded_at")
        records = {name: rows.with_columns(at_once) for name, rows in ground.records.items()}
        ground = with_rows(*([] if later is None else [later]), ground=Ground(records, "us"))
        settings, limits = load_assumptions(), default_bench_limits()
        return alerts(ground, SINCE, NOW, settings, limits, listed=at_ten)

    assert since_the_list(RAISED, weak) == []
    assert len(since_the_list(RAISED, later=weak)) == 1
    assert len(since_the_list(weak, later=RAISED)) == 1
    assert len(since_the_list(RAISED, weak, later=graded)) == 1
    (tank,) = since_the_list(RAISED, weak, later=again)
    assert "2 times" in tank.words


def test_a_failure_is_told_until_a_rebuild() -> None:
    broke: Row = ("failures", {"engine_id": "E3", "found_at": AT, "mode": "ring_land_fracture",
                               "how_found": "ran_to_failure"})  # fmt: skip
    built: Row = ("rebuilds", {"engine_id": "E3", "rebuilt_at": "2026-08-18T11:00:00Z",
                               "scope": "full"})  # fmt: skip

    (alert,) = told(broke)

    assert "Ring-land fracture found on engine E3" in alert.words
    assert told(broke, built) == []


def test_water_in_the_fuel_is_told() -> None:
    wet: Row = ("fuel_tests", {"hull_id": "A1", "tested_at": AT, "has_water": "yes"})

    assert [one.hull_id for one in told(wet)] == ["A1"]


def test_what_is_older_or_dated_later_is_left_out() -> None:
    weak = fill(octane_aki="87")

    assert told(RAISED, weak, since=NOW) == []
    assert told(RAISED, weak, now=NOW - timedelta(hours=5)) == []


def test_the_same_records_give_the_same_alerts() -> None:
    rows = [RAISED, fill(octane_aki="87"), *FAILED]

    assert told(*rows) == told(*rows)
    assert len({one.id for one in told(*rows)}) == 2
    assert set(ALL_KINDS) == set(shop().records)
