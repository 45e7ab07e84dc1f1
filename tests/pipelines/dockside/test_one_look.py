"""What holds is worked out once an entry, and a board is drawn once a look."""

from collections.abc import Iterator
from pathlib import Path
from time import sleep

import pytest

import pipelines.dockside.listed as listed_module
from pipelines.dockside.taking_in import is_waiting
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.record_loading import load_kind
from ringland.dockside.entries import Entry
from tests.dockside.small_shop import entry
from tests.pipelines.dockside.asking import Phone, Served, serving
from tests.pipelines.dockside.shop_home import loaded_home


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with serving(loaded_home(tmp_path / "home")) as served:
        yield served


@pytest.fixture
def phone(served: Served) -> Phone:
    phone = served.phone()
    phone.token = phone.get("/token").json["token"]
    return phone


def fill(minute: int) -> Entry:
    return entry(
        "fills",
        {"hull_id": "A1", "filled_at": f"2026-08-18T08:{minute:02}:00Z", "volume_l": "31.5",
         "source": "outside"},
    )  # fmt: skip


def shows(phone: Phone, words: str) -> bool:
    for _ in range(600):
        if words in phone.get("/").body.decode():
            return True
        sleep(0.05)
    return False


def test_an_entry_is_looked_at_once_and_not_again_when_it_is_taken_in(
    served: Served, phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Alerts of 500 hulls were worked out while an entry waited, and again once on record."""
    assert phone.get("/").status == 200
    looks: list[int] = []
    look = listed_module.look
    monkeypatch.setattr(listed_module, "look", lambda *told: looks.append(1) or look(*told))

    assert phone.entries(fill(1)).outcomes == ["kept"]
    assert shows(phone, "volume 31.5 l")
    for _ in range(600):
        if served.desk.turns >= 2 and not is_waiting(served.desk.home):
            break
        sleep(0.05)
    else:
        pytest.fail("the entry was never taken in")
    sleep(3)  # longer than the desk rests between two looks

    assert len(looks) == 1


def test_a_record_loaded_by_another_command_is_looked_at(
    served: Served, phone: Phone, tmp_path: Path
) -> None:
    assert phone.get("/").status == 200
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "fills.csv").write_text(
        "hull_id,filled_at,volume_l,source\nA1,2026-08-18T08:03:00Z,32.5,outside\n"
    )

    home = served.desk.home
    load_kind(warehouse_at(home.database), home.raw, "fills", tmp_path / "more")

    assert shows(phone, "volume 32.5 l")


def test_who_has_the_board_is_told_so_until_it_changes(phone: Phone) -> None:
    first = phone.get("/")
    again = phone.get("/", **{"if-none-match": first.head("etag") or ""})

    assert (again.status, again.body) == (304, b"")
    assert phone.entries(fill(4)).outcomes == ["kept"]
    assert shows(phone, "volume 31.5 l")
    changed = phone.get("/", **{"if-none-match": first.head("etag") or ""})
    assert changed.status == 200
    assert changed.head("etag") != first.head("etag")
    assert changed.head("cache-control") == "no-store"
