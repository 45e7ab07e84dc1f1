"""The security table: each row a test, role by role over every route there is."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from pipelines.command_parts import words_for
from pipelines.dockside.application import FORM_HEAD, WAYS
from pipelines.dockside.asked import Way
from pipelines.dockside.audit import read_audit
from pipelines.dockside.guard import MOST_BODY_BYTES
from pipelines.dockside.people import PEOPLE, People, PeopleError, people_fault
from pipelines.dockside.serving import where
from pipelines.dockside.sessions import IDLE, LASTS, MOST_WRONG, MOST_WRONG_FROM, WRONG_FOR
from pipelines.home import Home
from ringland.dockside.roles import (
    DOCK_HAND,
    MECHANIC,
    NOBODY,
    OPERATOR,
    OWNER,
    READER,
    ROLES,
)
from tests.dockside.small_shop import NOW, entry
from tests.pipelines.dockside.asking import ORIGIN, Phone, Served, serving
from tests.pipelines.dockside.shop_home import loaded_home

PASSWORD = "a wet rope and a dry hand"  # noqa: S105 - of nobody
ROLE_OF = {
    "Olga": (OWNER, None, None),
    "Mia": (MECHANIC, None, None),
    "Us": (OPERATOR, "us", None),
    "Them": (OPERATOR, "them", None),
    "Nils": (DOCK_HAND, None, "north"),
}
PHONE_OF = {OWNER: "Olga", MECHANIC: "Mia", OPERATOR: "Us", DOCK_HAND: "Nils", READER: "reader"}


@dataclass
class Shop:
    home: Home
    served: Served
    phones: dict[str, Phone]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A server with one of each role signed in, and a week whose pages lie open."""
    home = loaded_home(tmp_path_factory.mktemp("shop") / "home")
    for path in ("2026-08-17/index.html", "2026-08-17/hulls/A1.html", "2026-08-17/hulls/B1.html",
                 "2026-08-17/ringland.css", "2026-08-17/fleet.js", "shared/lib.js"):  # fmt: skip
        (home.site / path).parent.mkdir(parents=True, exist_ok=True)
        (home.site / path).write_text(f"this is {path}", encoding="utf-8")
    people = People(home.dockside)
    with serving(home) as served:
        phones = {}
        for name, (role, operator, dock) in ROLE_OF.items():
            secret = people.invite(name, role, NOW, operator, dock)
            phones[name] = served.phone().join(secret, PASSWORD)
        secret = people.link("A1", NOW + timedelta(days=9), "Olga")
        phones["reader"] = served.phone()
        assert phones["reader"].get(f"/see/{secret}").head("location") == "/hull/A1"
        phones["reader"].token = phones["reader"].get("/token").json["token"]
        yield Shop(home, served, phones)


def fill(hull: str, **more: str) -> Any:
    cells = {"hull_id": hull, "filled_at": "2026-08-18T09:00:00Z", "volume_l": "30",
             "source": "outside", "octane_aki": "91"} | more  # fmt: skip
    return entry("fills", cells)


# --- role by role over every route ---------------------------------------------------------------

PUBLIC = {
    ("GET", "/sign-in"), ("POST", "/sign-in"), ("GET", "/join/{secret}"),
    ("POST", "/join/{secret}"), ("GET", "/see/{secret}"), ("GET", "/trust"),
    ("GET", "/authority.crt"), ("GET", "/healthz"),
}  # fmt: skip
"""Routes for people who have not signed in, written down here a second time on purpose."""


def address(way: Way) -> str:
    """An address of a route that names nothing there is."""
    return re.sub(r"\{[^}]*\}", "nothing", way.path)


def answered(shop: Shop, way: Way, role: str) -> int:
    phone = shop.phones[PHONE_OF[role]] if role != NOBODY else shop.served.phone().look()
    if way.path == "/sign-out":
        phone = Phone(shop.served, phone.place, phone.cookie, "wrong token")
    if way.method == "GET":
        return phone.get(address(way)).status
    return phone.post(address(way), {"entries": []}).status


def test_every_route_served_stands_in_the_table_with_its_roles(shop: Shop) -> None:
    served = {
        (method, route.path)
        for route in shop.served.app.app.routes
        for method in route.methods - {"HEAD"}
    }

    assert served == {(way.method, way.path) for way in WAYS}
    assert len(served) == len(WAYS)
    assert all(way.roles and way.roles <= {*ROLES, NOBODY} for way in WAYS)


@pytest.mark.parametrize("role", [*ROLES, NOBODY])
@pytest.mark.parametrize("way", WAYS, ids=lambda way: f"{way.method} {way.path}")
def test_a_route_is_open_to_its_roles_and_to_no_other(shop: Shop, way: Way, role: str) -> None:
    status = answered(shop, way, role)

    if role in way.roles:
        refused_token = way.path == "/sign-out"
        assert (status == 403) == refused_token or way.path == "/sign-in"
        assert status not in (401, 500)
    else:
        assert status == (401 if role == NOBODY else 403)


def test_who_has_not_signed_in_reaches_no_more_than_is_written_here() -> None:
    """A route that were opened by mistake would have to be written down twice."""
    opened = {(way.method, way.path) for way in WAYS if NOBODY in way.roles}
    assert {one for one in opened if not one[1].startswith(("/assets/", "/phone.js"))} == PUBLIC


def test_a_browser_is_sent_to_the_sign_in_page(shop: Shop) -> None:
    told = shop.served.phone().get("/week/", accept="text/html")

    assert (told.status, told.head("location")) == (303, "/sign-in")


@pytest.mark.parametrize("scanned", ["A1", "https://evil.example/", "//evil.example", "a\r\nb&c"])
def test_who_scanned_a_code_is_at_that_hulls_forms_once_signed_in(shop: Shop, scanned: str) -> None:
    name, written = "Scan", quote(scanned, safe="")
    secret = People(shop.home.dockside).invite(name, MECHANIC, NOW, None, None)
    shop.served.phone().join(secret, PASSWORD)
    phone = shop.served.phone("10.0.0.20")

    sent = phone.get(f"/write?hull={written}", accept="text/html")
    page = phone.look().get(sent.head("location")).body.decode()
    told = phone.form("/sign-in", name=name, password=PASSWORD, hull=scanned)

    assert sent.head("location") == f"/sign-in?hull={written}"
    assert f'name="hull" value="{escape(scanned)}"' in page
    assert (told.status, told.head("location")) == (303, f"/write?hull={written}")


# --- another operator's hulls --------------------------------------------------------------------


@pytest.mark.parametrize(("name", "own", "other"), [
    ("Us", "A1", "B1"), ("Them", "B1", "A1"),
    ("Nils", "A1", "B1"), ("reader", "A1", "B1"),
])  # fmt: skip
def test_another_operators_hull_is_as_if_it_were_not_there(
    shop: Shop, name: str, own: str, other: str
) -> None:
    phone = shop.phones[name]

    assert phone.get(f"/hull/{own}").head("location") == f"/week/2026-08-17/hulls/{own}.html"
    assert phone.get(f"/week/2026-08-17/hulls/{own}.html").status == 200
    hidden, absent = phone.get(f"/hull/{other}"), phone.get("/hull/none")
    assert (hidden.status, hidden.body) == (absent.status, absent.body) == (404, absent.body)
    for path in (f"hulls/{other}.html", "index.html", "fleet.js", "hulls/../index.html"):
        assert phone.get(f"/week/2026-08-17/{path}").status == 404
    for path in ("2026-08-17/ringland.css", "shared/lib.js"):
        assert phone.get(f"/week/{path}").status == 200


@pytest.mark.parametrize("path", ["/entries", "/check"])
def test_another_operators_hull_is_not_written_to(shop: Shop, path: str) -> None:
    phone = shop.phones["Us"]
    key = "B1; 2026-08-01T09:00:00Z"
    wrong = [
        fill("B1"),
        fill("nowhere"),
        fill("A1", source="dock", source_dock_id="south"),
        entry("jobs_done", {"job_id": "B1/check/2026-08-17", "done_at": "2026-08-18T09:00:00Z",
                            "done_by": "Us", "result": "done"}),
        entry("corrections", {"record_kind": "fills", "record_key": key, "change": "withdrawn",
                              "reason": "x"}),
        entry("corrections", {"record_kind": "fills", "record_key": "A1; 2026-08-01T09:00:00Z",
                              "change": "corrected", "field": "hull_id", "new_value": "B1",
                              "reason": "x"}),
        entry("corrections", {"record_kind": "docks", "record_key": "north", "reason": "x",
                              "change": "withdrawn"}),
        entry("dips", {"dipped_at": "2026-08-18T09:00:00Z", "volume_l": "3"}),
    ]  # fmt: skip

    told = phone.entries(*wrong, path=path)

    assert told.outcomes == ["refused"] * len(wrong)
    hidden, absent = (one["faults"] for one in told.json["answers"][:2])
    assert hidden[0]["message"].replace("B1", "nowhere") == absent[0]["message"]


def test_an_engine_goes_with_the_hull_it_sits_in(shop: Shop) -> None:
    """E1 left A1 for the other operator's B1 in June."""
    cells = {"found_at": "2026-08-18T09:00:00Z", "mode": "other", "how_found": "inspection"}
    one, other = (entry("failures", {"engine_id": name} | cells) for name in ("E1", "E3"))

    assert shop.phones["Us"].entries(one, other, path="/check").outcomes == ["refused", "kept"]
    assert shop.phones["Them"].entries(one, other, path="/check").outcomes == ["kept", "refused"]
    assert shop.phones["Mia"].entries(one, other, path="/check").outcomes == ["kept", "kept"]


@pytest.mark.parametrize(("name", "kind", "outcome"), [
    ("Nils", "inspections", "refused"), ("Nils", "releases", "refused"),
    ("Us", "releases", "refused"), ("Mia", "docks", "refused"), ("Olga", "docks", "kept"),
])  # fmt: skip
def test_a_role_writes_its_own_kinds(shop: Shop, name: str, kind: str, outcome: str) -> None:
    cells = {
        "docks": {"dock_id": "west", "time_zone": "UTC"},
        "inspections": {"engine_id": "E3", "inspected_at": "2026-08-18T09:00:00Z",
                        "measure": "leak_down", "state": "stated_ok"},
        "releases": {"engine_id": "E3", "released_at": "2026-08-18T09:00:00Z", "what": "leak_down",
                     "released_by": name, "why": "x"},
    }[kind]  # fmt: skip

    told = shop.phones[name].entries(entry(kind, cells), path="/check")

    assert told.outcomes == [outcome]


def test_nobody_releases_in_anothers_name(shop: Shop) -> None:
    cells = {"engine_id": "E3", "released_at": "2026-08-18T09:00:00Z", "what": "leak_down",
             "why": "x"}  # fmt: skip
    own, anothers = (entry("releases", cells | {"released_by": name}) for name in ("Mia", "Olga"))

    told = shop.phones["Mia"].entries(own, anothers, path="/check")

    assert told.outcomes == ["kept", "refused"]
    assert told.json["answers"][1]["faults"][0]["field"] == "released_by"


# --- passwords, sessions, links -------------------------------------------------------------------


def test_wrong_passwords_are_limited_and_then_the_right_one_waits_too(shop: Shop) -> None:
    phone = shop.served.phone("10.0.0.8")
    wrong = [phone.sign_in("Olga", f"guess number {n}").status for n in range(MOST_WRONG)]

    told = phone.sign_in("Olga", PASSWORD)

    assert wrong == [403] * MOST_WRONG
    assert (told.status, told.head("retry-after")) == (429, str(int(WRONG_FOR.total_seconds())))
    assert shop.served.phone("10.0.0.9").sign_in("Olga", PASSWORD).status == 303
    shop.served.clock.at += WRONG_FOR
    assert phone.sign_in("Olga", PASSWORD).status == 303


def test_names_that_nobody_has_are_answered_and_limited_alike(shop: Shop) -> None:
    phone = shop.served.phone("10.0.0.10")
    known, unknown = phone.sign_in("Olga", "no such sign"), phone.sign_in("Nobody", "no such sign")
    tokens = re.compile(rb'name="token" value="[^"]*"')
    assert known.status == unknown.status == 403
    assert tokens.sub(b"", known.body) == tokens.sub(b"", unknown.body)

    told = [phone.sign_in(f"name {n}", "no such sign").status for n in range(MOST_WRONG_FROM)]

    assert told[-1] == 429


def test_signing_in_begins_a_session_of_its_own(shop: Shop) -> None:
    """Session fixation: a cookie from before, planted or one's own, is worth nothing after."""
    phone = shop.served.phone("10.0.0.11")
    phone.cookie = "dockside=planted"
    phone.sign_in("Mia", PASSWORD)
    first = phone.cookie
    phone.sign_in("Mia", PASSWORD)

    assert len({"dockside=planted", first, phone.cookie}) == 3
    for old in ("dockside=planted", first):
        assert Phone(shop.served, "10.0.0.11", old).get("/token").status == 401
    assert phone.get("/token").status == 200


def test_a_session_cookie_is_kept_from_scripts_and_from_other_sites(shop: Shop) -> None:
    told = shop.served.phone("10.0.0.12").sign_in("Mia", PASSWORD)

    bits = {bit.strip().lower() for bit in (told.head("set-cookie") or "").split(";")[1:]}
    assert {"httponly", "samesite=lax", "path=/"} <= bits


def test_signing_out_ends_the_session_everywhere_it_was_copied_to(shop: Shop) -> None:
    phone = shop.served.phone("10.0.0.13")
    phone.sign_in("Mia", PASSWORD)
    copied = Phone(shop.served, "10.0.0.13", phone.cookie, phone.token)

    assert phone.form("/sign-out").status == 303
    assert copied.get("/token").status == 401


@pytest.mark.parametrize("later", [IDLE, LASTS])
def test_a_session_ends(shop: Shop, later: timedelta) -> None:
    phone = shop.served.phone("10.0.0.14")
    phone.sign_in("Mia", PASSWORD)
    began, step = shop.served.clock.at, min(later, IDLE / 2)

    try:
        while shop.served.clock.at + step < began + later:
            shop.served.clock.at += step
            assert phone.get("/token").status == 200
        shop.served.clock.at = began + later if later == LASTS else shop.served.clock.at + IDLE
        assert phone.get("/token").status == 401
    finally:
        shop.served.clock.at = began


def test_a_removed_person_is_out_at_the_next_request(shop: Shop) -> None:
    people = People(shop.home.dockside)  # as the command has it, in a process of its own
    secret = people.invite("Gone", MECHANIC, NOW, None, None)
    phone = shop.served.phone("10.0.0.15").join(secret, PASSWORD)
    assert phone.entries(fill("A1"), path="/check").status == 200

    people.remove("Gone")

    assert phone.entries(fill("A1"), path="/check").status == 401
    assert phone.sign_in("Gone", PASSWORD).status == 403


@pytest.mark.parametrize("left", [None, b"{", b'{"members": [], "links": [], "digest": "0"}'])
def test_a_lost_or_damaged_list_of_people_lets_nobody_in(shop: Shop, left: bytes | None) -> None:
    """A server off this machine took everybody for its owner once the list was gone."""
    path = shop.home.dockside / PEOPLE
    whole = path.read_bytes()
    try:
        path.unlink()
        if left is not None:
            path.write_bytes(left)
        for phone in (shop.served.phone("10.0.0.16"), shop.phones["Olga"]):
            assert phone.get("/token").status == 401
        told = people_fault(shop.home.dockside)
        assert told is not None
        assert "restore BACKUP --mend" in told
        if left is not None:
            with pytest.raises(PeopleError, match="damaged"):
                where(shop.home, "127.0.0.1", 8421, NOW)
    finally:
        path.write_bytes(whole)
    assert people_fault(shop.home.dockside) is None
    assert shop.phones["Olga"].get("/token").status == 200


def test_an_invitation_holds_once_and_for_its_days(shop: Shop) -> None:
    people = People(shop.home.dockside)
    secret = people.invite("New", MECHANIC, NOW, None, None)
    phone = shop.served.phone("10.0.0.16").look()
    for weak in ("short", "aaaaaaaaaaaaaaa", "new" * 70):
        assert phone.form(f"/join/{secret}", password=weak).status == 422

    phone.join(secret, PASSWORD)

    assert phone.look().form(f"/join/{secret}", password=PASSWORD + "2").status == 404
    late = people.invite("Late", MECHANIC, NOW - timedelta(days=4), None, None)
    assert phone.get(f"/join/{late}").status == 404
    for name in ("New", "Late"):
        people.remove(name)


def test_an_invitation_again_takes_the_old_password_away(shop: Shop) -> None:
    people = People(shop.home.dockside)
    phone = shop.served.phone("10.0.0.17").join(
        people.invite("Twice", MECHANIC, NOW, None, None), PASSWORD
    )

    people.invite("twice", MECHANIC, NOW, None, None)

    assert phone.get("/token").status == 401
    assert phone.sign_in("Twice", PASSWORD).status == 403
    people.remove("Twice")


def test_a_link_reads_one_hull_until_it_ends_or_is_taken_back(shop: Shop) -> None:
    people, clock = People(shop.home.dockside), shop.served.clock
    secret = people.link("B1", NOW + timedelta(days=1), "Olga")
    phone = shop.served.phone()
    assert phone.get(f"/see/{secret}").status == 303
    assert phone.get("/hull/B1").status == 303
    assert phone.get("/hull/A1").status == 404

    clock.at = NOW + timedelta(days=1)
    try:
        assert phone.get("/hull/B1").status == 401
        assert phone.get(f"/see/{secret}").status == 404
    finally:
        clock.at = NOW
    assert phone.get("/hull/B1").status == 303
    people.remove(next(one.id for one in people.links if one.hull_id == "B1"))
    assert phone.get("/hull/B1").status == 401


def test_no_secret_lies_in_the_home_as_it_is_told(shop: Shop) -> None:
    secret = People(shop.home.dockside).invite("Kept", MECHANIC, NOW, None, None)
    phone = shop.served.phone("10.0.0.18").join(secret, PASSWORD)
    phone.sign_in("Kept", PASSWORD + " wrong")
    cookie = phone.cookie.partition("=")[2]

    files = [path.read_bytes() for path in shop.home.dockside.rglob("*") if path.is_file()]

    for told in (PASSWORD, secret, cookie, phone.token):
        assert len(told) > 9
        assert not any(told.encode() in content for content in files)
    assert any(b"$argon2id$" in content for content in files)
    People(shop.home.dockside).remove("Kept")


# --- requests of other pages ----------------------------------------------------------------------


def test_a_post_without_the_pages_own_token_is_refused(shop: Shop) -> None:
    phone = shop.phones["Olga"]
    for token in ("", "0" * 64, shop.phones["Mia"].token):
        told = Phone(shop.served, "127.0.0.1", phone.cookie, token).entries(fill("A1"))
        assert (told.status, told.json["code"]) == (403, "token")
    assert phone.entries(fill("A1"), path="/check").status == 200


@pytest.mark.parametrize("heads", [
    {"origin": "https://evil.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:9999"},
    {"origin": "https://127.0.0.1:8421"}, {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"}, {"host": "evil.example"}, {"host": "evil.example:8421"},
    {"host": ""}, {"host": "127.0.0.1"}, {"host": "127.0.0.1:8421.evil.example"},
])  # fmt: skip
def test_a_page_of_another_origin_or_host_is_refused(shop: Shop, heads: dict[str, str]) -> None:
    told = shop.phones["Olga"].post("/check", {"entries": []}, **heads)

    assert told.status in (403, 421)
    assert shop.phones["Olga"].post("/check", {"entries": []}).status == 200


def test_two_hosts_are_refused(shop: Shop) -> None:
    """What stands before and what stands behind might each believe another of them."""
    told = shop.served.ask("GET", "/sign-in", raw=[(b"host", b"evil.example")])

    assert told.status == 421


def test_every_answer_bears_the_strict_policy(shop: Shop) -> None:
    for phone, path in (("Olga", "/sign-in"), ("Olga", "/nothing"), ("Olga", "/token")):
        told = shop.phones[phone].get(path)
        policy = told.head("content-security-policy") or ""
        assert policy.startswith("default-src 'none'; script-src 'self';")
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert told.head("x-content-type-options") == "nosniff"
        assert told.head("cache-control") == "no-store"
        assert told.head("referrer-policy") == "same-origin"
    refused = shop.served.ask("GET", "/sign-in", heads={"host": "evil.example"})
    assert (refused.head("content-security-policy") or "").startswith("default-src 'none'")


def test_a_report_may_draw_and_send_nothing(shop: Shop) -> None:
    policy = shop.phones["Olga"].get("/week/2026-08-17/index.html").head("content-security-policy")

    assert policy is not None
    assert "connect-src 'none'" in policy
    assert "form-action 'none'" in policy
    assert "script-src 'self' 'sha256-" in policy


@pytest.mark.parametrize("path", [
    "/week/../people.json", "/week/..%2f..%2fdockside%2fpeople.json",
    "/week/2026-08-17/../../home.toml",
    "/week//etc/passwd", "/week/2026-08-17\\..\\x", "/week/2026-08-17/hulls", "/week/\x00/x",
    "/hull/../people", "/week/2026-08-17/" + "a" * 5_000,
])  # fmt: skip
def test_no_address_leads_out_of_the_reports(shop: Shop, path: str) -> None:
    assert shop.phones["Olga"].get(path).status == 404


def test_a_link_in_the_site_leads_nowhere_else(shop: Shop) -> None:
    (shop.home.site / "2026-08-17" / "out.txt").symlink_to(shop.home.dockside / PEOPLE)

    assert shop.phones["Olga"].get("/week/2026-08-17/out.txt").status == 404


# --- sizes and shapes -----------------------------------------------------------------------------


def test_a_body_too_large_is_refused_whether_it_says_so_or_not(shop: Shop) -> None:
    phone = shop.phones["Olga"]
    own = {"cookie": phone.cookie, "origin": ORIGIN, FORM_HEAD: phone.token,
           "content-type": "application/json"}  # fmt: skip
    for told in ({"content-length": str(MOST_BODY_BYTES + 1)}, {"content-length": "-1"}, {}):
        body = b"x" * (MOST_BODY_BYTES + 1)
        assert shop.served.ask("POST", "/entries", heads=own | told, body=body).status == 413


@pytest.mark.parametrize(("body", "status"), [
    (b"", 400), (b"{", 400), (b"[]", 400), (b'{"entries": 3}', 413), (b"\xff\xfe", 400),
    (b'{"entries": ' + b"[" * 100_000, 400),
    (json.dumps({"entries": [{}] * 201}).encode(), 413),
    (b'{"entries": [NaN, null, 3, {"id": {}}]}', 200),
])  # fmt: skip
def test_what_is_no_list_of_entries_is_told_so(shop: Shop, body: bytes, status: int) -> None:
    phone = shop.phones["Olga"]
    own = {"cookie": phone.cookie, "origin": ORIGIN, FORM_HEAD: phone.token,
           "content-type": "application/json"}  # fmt: skip

    told = shop.served.ask("POST", "/entries", heads=own, body=body)

    assert told.status == status
    if status == 200:
        assert set(told.outcomes) == {"refused"}


def test_nothing_asked_for_comes_back_as_a_header(shop: Shop) -> None:
    """Header injection: a line end in an address or a name must not begin a header of its own."""
    evil = "A1\r\nset-cookie: dockside=evil"
    for path in (f"/hull/{evil}", f"/see/{evil}", f"/join/{evil}", f"/week/{evil}/x"):
        for name, value in shop.phones["Olga"].get(path).heads:
            assert "\r" not in name + value
            assert "\n" not in name + value
    phone = shop.served.phone("10.0.0.19").look()
    told = phone.form("/sign-in", name=evil, password=evil)
    assert not any("evil" in value for _, value in told.heads)
    assert shop.phones["Olga"].get("/token", **{"user-agent": "a\r\nb"}).status == 200


def test_hostile_text_stays_text(shop: Shop) -> None:
    hostile = "<script>alert(1)</script>\"'&"
    people = People(shop.home.dockside)
    secret = people.invite(hostile, MECHANIC, NOW, None, None)

    page = shop.served.phone().get(f"/join/{secret}").body.decode()
    told = shop.phones["Olga"].entries(fill(hostile), path="/check")

    assert "<script" not in page
    assert told.head("content-type") == "application/json"
    assert hostile in told.json["answers"][0]["faults"][0]["message"]
    people.remove(hostile)


# --- who saw and wrote what -----------------------------------------------------------------------


def test_the_audit_list_tells_who_saw_and_wrote_what(shop: Shop) -> None:
    shop.phones["Nils"].get("/week/2026-08-17/hulls/A1.html")
    shop.phones["Nils"].get("/week/2026-08-17/hulls/A1.html")
    shop.phones["Nils"].get("/hull/B1")
    shop.phones["reader"].get("/hull/A1")
    shop.phones["Nils"].entries(fill("A2"))
    told = [(one["who"], one["did"], one["what"]) for one in read_audit(shop.home.dockside)]

    assert told.count(("Nils", "saw", "GET /week/2026-08-17/hulls/A1.html")) == 1
    assert ("Nils", "wrote", "POST /entries: 1 fills") in told
    assert ("Nils", "saw", "GET /hull/B1 (404)") in told
    assert ("nobody", "joined", "Nils") in told
    assert any(who == "reader of A1" for who, _, _ in told)


# --- where it listens -----------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20"])  # noqa: S104
def test_off_this_machine_nobody_is_answered_without_an_owners_sign_in(
    tmp_path: Path, host: str
) -> None:
    home = Home(tmp_path).prepare()
    now = datetime.now(UTC)
    with pytest.raises(PeopleError, match="signed in"):
        where(home, host, 8421, now)
    people = People(home.dockside)
    secret = people.invite("Olga", OWNER, now, None, None)
    with pytest.raises(PeopleError, match="password") as refused:
        where(home, host, 8421, now)
    assert words_for(refused.value)
    people.join(secret, PASSWORD, now)

    place = where(home, host, 8421, now)

    assert place.is_secure
    assert all(origin.startswith("https://") for origin in place.origins)
    assert not any("//0." in origin or "[::]" in origin for origin in place.origins)


def test_on_this_machine_alone_it_speaks_plainly_to_whoever_sits_at_it(tmp_path: Path) -> None:
    place = where(Home(tmp_path).prepare(), "127.0.0.1", 8421, datetime.now(UTC))

    assert place.origins == ("http://127.0.0.1:8421", "http://localhost:8421")
    assert not place.is_secure


def test_the_shops_authority_signs_for_no_name_of_the_internet(tmp_path: Path) -> None:
    home, now = Home(tmp_path).prepare(), datetime.now(UTC)
    people = People(home.dockside)
    people.join(people.invite("Olga", OWNER, now, None, None), PASSWORD, now)

    with pytest.raises(PeopleError, match=r"not for bank\.example"):
        where(home, "192.168.1.20", 8421, now, ("bank.example",))
