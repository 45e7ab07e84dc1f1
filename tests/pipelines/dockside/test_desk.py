"""The desk keeps in groups, answers each once, and takes in what it kept."""

import asyncio
import errno
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from pipelines.dockside import desk as desk_module
from pipelines.dockside.journal import read_journal
from pipelines.dockside.taking_in import is_waiting
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import JOURNAL, Home
from pipelines.record_loading import load_kind
from tests.dockside.small_shop import entry
from tests.pipelines.dockside.asking import Phone, Served, serving
from tests.pipelines.dockside.shop_home import loaded_home


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(loaded_home(tmp_path_factory.mktemp("desk") / "home")) as served:
        yield served


@pytest.fixture
def phone(served: Served) -> Phone:
    phone = served.phone()
    phone.token = phone.get("/token").json["token"]
    return phone


def fill(hull: str, at: str, litres: str = "30") -> Any:
    return entry("fills", {"hull_id": hull, "filled_at": at, "volume_l": litres,
                           "source": "outside", "octane_aki": "91"})  # fmt: skip


def lines(home: Home) -> list[str]:
    return [one.entry.id for one in read_journal(home.dockside / JOURNAL)]


def until(holds: Callable[[], bool]) -> None:
    """Wait for what a thread of the server does beside; its tests end by the suite's own limit."""
    while not holds():
        time.sleep(0.02)


def test_an_entry_is_kept_once_however_often_it_is_sent(served: Served, phone: Phone) -> None:
    one = fill("A1", "2026-08-18T06:00:00Z")

    told = [phone.entries(one).outcomes, phone.entries(one).outcomes]
    twice = phone.entries(*[fill("A1", "2026-08-18T06:01:00Z")] * 2).outcomes

    assert told == [["kept"], ["known"]]
    assert twice == ["kept", "known"]
    assert lines(served.desk.home).count(one.id) == 1


def test_two_entries_of_one_key_are_told_apart_before_either_is_on_record(phone: Phone) -> None:
    """Both were kept in one group, and one of them set aside at the load."""
    at = "2026-08-18T06:02:00Z"
    first, same, other = fill("A1", at), fill("A1", at), fill("A1", at, "50")

    told = phone.entries(first, same, other)

    assert told.outcomes == ["kept", "kept", "refused"]
    assert "another volume_l" in told.json["answers"][2]["faults"][0]["message"]


def test_a_check_keeps_nothing(served: Served, phone: Phone) -> None:
    one = fill("A2", "2026-08-18T06:03:00Z")

    assert phone.entries(one, path="/check").outcomes == ["kept"]
    assert one.id not in lines(served.desk.home)
    assert phone.entries(one).outcomes == ["kept"]


def test_many_phones_at_once_each_hear_of_their_own(served: Served, phone: Phone) -> None:
    rounds = [[fill(hull, f"2026-08-18T07:{n:02}:00Z") for hull in ("A1", "A2", "B1")]
              for n in range(30)]  # fmt: skip

    with ThreadPoolExecutor(10) as phones:
        told = list(phones.map(lambda entries: phone.entries(*entries), rounds))

    for entries, answer in zip(rounds, told, strict=True):
        assert [one["id"] for one in answer.json["answers"]] == [one.id for one in entries]
        assert answer.outcomes == ["kept"] * 3
    kept = lines(served.desk.home)
    assert all(kept.count(one.id) == 1 for entries in rounds for one in entries)


def test_what_is_kept_comes_on_record_by_itself(served: Served, phone: Phone) -> None:
    before, at = served.desk.turns, "2026-08-18T08:00:00Z"
    phone.entries(fill("B1", at))

    until(lambda: served.desk.turns > before)

    rows = warehouse_at(served.desk.home.database).read_records()["fills"]
    taken = rows.filter(hull_id="B1").sort("filled_at")["source_file"].to_list()
    assert "dockside" in taken[-1]
    assert served.desk.trouble == ""


def test_a_full_disk_is_told_and_nothing_counts_as_kept(
    served: Served, phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = fill("A2", "2026-08-18T08:01:00Z")

    def full(_journal: object, _entries: object) -> None:
        raise OSError(errno.ENOSPC, "full")

    with monkeypatch.context() as patched:
        patched.setattr(desk_module.Journal, "append", full)
        told = phone.entries(one)

    assert told.status == 507
    assert "nothing of this is kept" in told.json["error"]
    assert phone.entries(one).outcomes == ["kept"]


def test_too_much_at_once_is_told_to_come_again(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(desk_module, "MOST_WAITING", 0)
        told = phone.entries(fill("A1", "2026-08-18T08:02:00Z"))

    assert (told.status, told.head("retry-after")) == (503, "2")


def test_an_alert_holds_from_the_entry_that_brings_it(served: Served, phone: Phone) -> None:
    weak = entry(
        "fills",
        {
            "hull_id": "A2",
            "filled_at": "2026-08-18T09:00:00Z",
            "volume_l": "30",
            "source": "outside",
            "octane_aki": "87",
        },
    )
    raised = entry("calibrations", {"engine_id": "E2", "in_force_at": "2026-07-01T00:00:00Z",
                                    "calibration": "raised", "octane_need_aki": "93"})  # fmt: skip

    assert phone.entries(raised, weak).outcomes == ["kept", "kept"]
    until(lambda: served.desk.looked_last is not None
          and any(one.hull_id == "A2" for one in served.desk.looked_last.alerts))  # fmt: skip

    until(lambda: any((served.desk.home.dockside / "alerts").glob("*-A2-*.txt")))


def test_a_server_that_stops_leaves_what_it_kept_to_the_next(tmp_path: Path) -> None:
    home = loaded_home(tmp_path / "home")
    with serving(home) as first:
        phone = first.phone()
        phone.token = phone.get("/token").json["token"]
        one = fill("A1", "2026-08-18T06:00:00Z")
        phone.entries(one)
    with serving(home) as second:
        again = second.phone()
        again.token = again.get("/token").json["token"]
        assert again.entries(one).outcomes == ["known"]
        asyncio.run_coroutine_threadsafe(second.desk.ground(), second.loop).result(60)

    assert warehouse_at(home.database).read_records()["fills"].height == 2


def test_the_ground_stays_as_the_whole_warehouse_read_anew(served: Served, phone: Phone) -> None:
    """Only what came of the entries is read after a take-in, not years of records."""
    measured = {"engine_id": "E3", "measure": "leak_down", "state": "measured", "unit": "%"}
    phone.entries(fill("A1", "2026-07-02T10:00:00Z"), fill("B1", "2026-08-18T10:00:00Z"))
    for minute, value in enumerate(("5", "40")):
        at = f"2026-08-18T10:{minute:02}:00Z"
        cells = measured | {"inspected_at": at, "cylinder": "1", "value": value}
        test = entry("inspections", cells)
        assert phone.entries(test, fill("A2", at)).outcomes == ["kept", "kept"]
        until(lambda: not is_waiting(served.desk.home))
    until(lambda: not asyncio.run_coroutine_threadsafe(
        served.desk.ground(), served.loop).result(60).waiting)  # fmt: skip

    ground = asyncio.run_coroutine_threadsafe(served.desk.ground(), served.loop).result(60)
    read = warehouse_at(served.desk.home.database).read_records()

    assert [kind for kind in read if not read[kind].equals(ground.records[kind])] == []
    assert read["inspections"].height == 2


def test_what_another_command_loaded_while_entries_came_in_is_read_too(
    served: Served, phone: Phone, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The take-in waits while another command loads; only the kinds of its own entries were read
    after it, so that the others stayed off the board until something else was loaded."""
    home, take_in = served.desk.home, desk_module.take_journal_in
    text = "hull_id,tested_at,has_water\nA1,2026-08-18T11:00:00Z,true\n"
    (tmp_path / "fuel_tests.csv").write_text(text, encoding="utf-8")

    def after_another(where: Home) -> Any:
        if is_waiting(where):
            load_kind(warehouse_at(where.database), where.raw, "fuel_tests", tmp_path)
        return take_in(where)

    monkeypatch.setattr(desk_module, "take_journal_in", after_another)
    phone.entries(fill("A1", "2026-08-18T11:00:00Z"))
    until(lambda: not is_waiting(home))

    until(lambda: served.desk.looked_last is not None and any(
        "Water" in one.words for one in served.desk.looked_last.alerts))  # fmt: skip
