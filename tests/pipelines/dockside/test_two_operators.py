"""Two operators in one shop: nothing of one is told to the other, by any route there is."""

import json
import time
from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from urllib.parse import quote

import pytest

from pipelines.dockside.application import WAYS
from pipelines.dockside.asked import Way
from pipelines.dockside.people import People
from pipelines.home import Home
from ringland.dockside.forms import FORMS
from ringland.dockside.roles import DOCK_HAND, MECHANIC, OPERATOR, READER
from tests.dockside.small_shop import NOW, entry
from tests.pipelines.dockside.asking import Phone, Served, serving
from tests.pipelines.dockside.shop_home import loaded_home

PASSWORD = "a wet rope and a dry hand"  # noqa: S105 - of nobody
WEEK = "2026-08-17"
THEIRS = ("B1", "E1", "south")
"""The other operator's hull, its engine and its dock, as any answer would name them."""
SECRETS = ("ZX-Theirs", "a cracked strake", "87.4")
"""What is written of them: a name, words and a figure that stand nowhere else."""
OWN_WORDS = 'name="hull" value="B1"'
"""What the sign-in page hands back of the very address that asked for it."""
FILES = ("index.html", "hulls/B1.html", "sheets/B1.html", "sheets/B1.pdf", "causes/index.html",
         "causes/B1/proof.zip", "records/index.html", "records/B1.html", "week.xlsx", "hulls.csv",
         "digest.html", "docks.html", "score.html", "fleet.js", "week.zip")  # fmt: skip
"""Files of a week, and exports, that tell of every hull or of the other's."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Home, Served]]:
    """Both operators' hulls with alerts, entries and pages of their own."""
    home = loaded_home(tmp_path_factory.mktemp("two") / "home")
    pages = home.site / WEEK
    for name in (*FILES, "hulls/A1.html"):
        (pages / name).parent.mkdir(parents=True, exist_ok=True)
        words = "A1" if "A1" in name else " ".join((*THEIRS, *SECRETS))
        (pages / name).write_text(f'<head></head><main id="main">{words}</main>', encoding="utf-8")
    with serving(home) as served:
        mechanic = signed_in(home, served, "Mia", MECHANIC)
        told = mechanic.entries(
            *(
                entry("fuel_tests", {"tested_at": f"2026-08-18T0{at}:00:00Z", "hull_id": hull,
                                     "has_water": "true"})
                for at, hull in enumerate(("A1", "B1"), start=7)
            ),
            entry("failures", {"engine_id": "E1", "found_at": "2026-08-18T09:00:00Z",
                               "mode": "ring_land_fracture", "how_found": "teardown",
                               "complaint": SECRETS[1]}),
            entry("deliveries", {"dock_id": "south", "delivered_at": "2026-08-18T06:00:00Z",
                                 "volume_l": "800", "octane_aki": SECRETS[2]}),
            entry("jobs_done", {"job_id": "B1/check/2026-08-10", "result": "done",
                                "done_at": "2026-08-18T10:00:00Z", "done_by": SECRETS[0]}),
        )  # fmt: skip
        assert [one["faults"] for one in told.json["answers"]] == [[]] * 5
        waits_for(mechanic, SECRETS[1], SECRETS[2], SECRETS[0], "Water was found")
        yield home, served


def waits_for(phone: Phone, *words: str) -> None:
    """Ask for the board until it tells of what was entered."""
    for _ in range(600):
        body = phone.get("/board.json").body.decode()
        if all(word in body for word in words) and len(json.loads(body)["alerts"]) >= 3:
            return
        time.sleep(0.1)
    pytest.fail(f"the board never told of {words}: {body[:2000]}")


def signed_in(home: Home, served: Served, name: str, role: str, **more: str) -> Phone:
    people = People(home.dockside)
    secret = people.invite(name, role, NOW, more.get("operator"), more.get("dock"))
    return served.phone().join(secret, PASSWORD)


@pytest.fixture(scope="module", params=["operator", "dock hand", "link"])
def phone(request: pytest.FixtureRequest, shop: tuple[Home, Served]) -> Phone:
    """Somebody who may see the hulls of 'us', or one of them, and none of 'them'."""
    home, served = shop
    if request.param == "operator":
        return signed_in(home, served, "Us", OPERATOR, operator="us")
    if request.param == "dock hand":
        return signed_in(home, served, "Nils", DOCK_HAND, dock="north")
    made = People(home.dockside).link("A1", NOW + timedelta(days=9), "Mia")
    reader = served.phone()
    assert reader.get(f"/see/{made}").status == 303
    reader.token = reader.get("/token").json["token"]
    return reader


def addresses(way: Way) -> list[str]:
    """Every address of a route that somebody might guess; of one with a new part, none is known."""
    parts: dict[str, list[str]] = {
        "{path:path}": [f"{WEEK}/{name}" for name in FILES] + [f"{WEEK}/hulls/../index.html"],
        "{hull_id:path}": ["B1", "b1", "A1/../B1", quote("A1\nB1")],
        "{form}": list(FORMS),
        "{name}": ["write.css", "kept.js", "../B1"],
        "{secret}": ["B1"],
        "{person}": ["Mia"],
    }
    found = [way.path]
    for part, values in parts.items():
        found = [one.replace(part, value) for one in found for value in values]
    assert not any("{" in one for one in found), f"say what might be guessed for {way.path}"
    return [*dict.fromkeys(found)]


@pytest.mark.parametrize("way", WAYS, ids=lambda way: f"{way.method} {way.path}")
def test_no_route_tells_of_the_other_operators_hull(phone: Phone, way: Way) -> None:
    if way.path == "/sign-out":
        return
    for address in addresses(way):
        for query in ("", "?hull=B1", "?job=B1/check/2026-08-10", "?again=1"):
            if way.method == "GET":
                told = phone.get(address + query)
            else:
                told = phone.post(address, {"entries": [], "hull": "B1"})
            heads = " ".join(value for _, value in told.heads)
            text = heads + told.body.decode("utf-8", "replace")
            text = text.replace(OWN_WORDS, "")
            named = [word for word in (*SECRETS, '"B1"', ">B1<", "B1:", "E1", "south")
                     if word in text]  # fmt: skip
            assert named == [], (address, query, told.status)


def test_entries_about_it_are_answered_as_of_what_is_not_there(phone: Phone) -> None:
    guessed: dict[str, dict[str, Any]] = {
        "fills": {"hull_id": "?", "filled_at": "2026-08-18T11:00:00Z", "volume_l": "9",
                  "source": "outside"},
        "jobs_done": {"job_id": "?/check/2026-08-10", "done_at": "2026-08-18T11:00:00Z",
                      "done_by": "Us", "result": "done"},
        "corrections": {"record_kind": "fills", "record_key": "?; 2026-08-01T09:00:00Z",
                        "change": "withdrawn", "reason": "x"},
    }  # fmt: skip
    for kind, cells in guessed.items():
        hidden, absent = (
            phone.entries(
                entry(kind, {name: cell.replace("?", hull) for name, cell in cells.items()})
            )
            for hull in ("B1", "Q7")
        )
        assert hidden.status == absent.status
        assert hidden.body.decode().replace("B1", "Q7") == absent.body.decode() or (
            _faults(hidden, "B1") == _faults(absent, "Q7")
        ), kind


def _faults(told: Any, hull: str) -> list[str]:
    answers = told.json.get("answers", [])
    return [one["message"].replace(hull, "?") for answer in answers for one in answer["faults"]]


def test_the_audit_list_and_alert_files_are_reached_by_no_address(phone: Phone) -> None:
    for path in ("audit", "audit.jsonl", "alerts", "dockside/audit.jsonl", "journal.jsonl",
                 "dockside/alerts", "people.json", "week/../dockside/audit.jsonl"):  # fmt: skip
        assert phone.get(f"/{path}").status in (403, 404), path
        assert phone.get(f"/week/{WEEK}/../../dockside/{path}").status in (403, 404), path


def test_who_may_see_both_is_told_of_both(shop: tuple[Home, Served]) -> None:
    """Else nothing here shows that the others are kept from anything."""
    home, served = shop
    body = signed_in(home, served, "Max", MECHANIC).get("/").body.decode()

    assert all(word in body for word in (*SECRETS, "B1", "A1"))
    assert READER not in body
