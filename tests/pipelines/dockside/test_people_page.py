"""The owner's page: invitations shown once, links that end, removal at once, the audit list."""

import re
import shutil
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest

from pipelines.dockside.people import INVITED_FOR, People
from pipelines.home import Home
from ringland.dockside.roles import MECHANIC, OWNER
from tests.dockside.small_shop import NOW
from tests.pipelines.dockside.asking import ORIGIN, Phone, Served, Told, serving
from tests.pipelines.dockside.shop_home import loaded_home

PASSWORD = "a wet rope and a dry hand"  # noqa: S105 - of nobody


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Home:
    return loaded_home(tmp_path_factory.mktemp("people") / "home")


@pytest.fixture
def home(loaded: Home, tmp_path: Path) -> Home:
    return Home(Path(shutil.copytree(loaded.folder, tmp_path / "home")))


@pytest.fixture
def served(home: Home) -> Iterator[Served]:
    with serving(home) as served:
        yield served


@pytest.fixture
def olga(home: Home, served: Served) -> Phone:
    return served.phone().join(
        People(home.dockside).invite("Olga", OWNER, NOW, None, None), PASSWORD
    )


def secret_in(told: Told, what: str = "join") -> str:
    """The one-time secret of the address that the page shows."""
    assert told.status == 200, told.body.decode()
    found = re.search(rf"<code>{re.escape(ORIGIN)}/{what}/([\w-]+)</code>", told.body.decode())
    assert found is not None
    return found.group(1)


def test_an_owner_invites_a_dock_hand_who_joins_once_and_sees_that_dock(
    served: Served, olga: Phone
) -> None:
    told = olga.form("/people/invite", name="Nils", role="dock_hand", dock="north")
    secret = secret_in(told)

    assert "<svg" in told.body.decode()
    assert "invited until" in olga.get("/people").body.decode()
    nils = served.phone("10.0.0.2").join(secret, PASSWORD)
    assert nils.get("/hull/A1").status != 403
    assert nils.get("/hull/B1").status == 404
    assert served.phone("10.0.0.3").get(f"/join/{secret}").status == 404
    page = olga.get("/people").body.decode()
    assert "dock hand of north" in page
    assert "has a password" in page
    assert nils.get("/people").status == 403


def test_a_secret_is_shown_once_and_kept_nowhere(home: Home, olga: Phone) -> None:
    secrets = [
        secret_in(olga.form("/people/invite", name="Mia", role="mechanic")),
        secret_in(olga.form("/people/link", hull="A1", days="7"), "see"),
    ]

    pages = [olga.get(path).body.decode() for path in ("/people", "/people/audit")]
    files = [one.read_text("utf-8", "replace") for one in home.dockside.iterdir() if one.is_file()]
    for secret in secrets:
        assert not any(secret in text for text in (*pages, *files))
    assert "invited</td><td>Mia as mechanic" in pages[1]


def test_an_invitation_ends(served: Served, olga: Phone) -> None:
    secret = secret_in(olga.form("/people/invite", name="Mia", role="mechanic"))

    for _ in range(2):  # Olga's session ends sooner if she asks for nothing meanwhile
        assert olga.get("/people").status == 200
        served.clock.at += INVITED_FOR / 2

    assert served.phone("10.0.0.2").get(f"/join/{secret}").status == 404
    assert "invitation ended" in olga.get("/people").body.decode()


def test_a_link_reads_one_hull_until_it_ends_or_is_removed(served: Served, olga: Phone) -> None:
    secret = secret_in(olga.form("/people/link", hull="A1", days="7"), "see")
    reader = served.phone("10.0.0.2")
    assert reader.get(f"/see/{secret}").head("location") == "/hull/A1"

    page = olga.get("/people").body.decode()
    key = re.search(r'name="name" value="([0-9a-f]{16})"', page)
    assert key is not None
    assert "reads A1" in page
    assert olga.form("/people/remove", name=key.group(1)).status == 200

    assert reader.get("/hull/A1").status == 401
    later = secret_in(olga.form("/people/link", hull="A1", days="1"), "see")
    served.clock.at += timedelta(days=1)
    assert served.phone("10.0.0.2").get(f"/see/{later}").status == 404


def test_who_is_removed_is_out_at_the_next_request(served: Served, olga: Phone) -> None:
    secret = secret_in(olga.form("/people/invite", name="Mia", role="mechanic"))
    mia = served.phone("10.0.0.2").join(secret, PASSWORD)
    assert mia.get("/board.json").status == 200

    assert olga.form("/people/remove", name="Mia").status == 200

    assert mia.get("/board.json").status == 401
    assert "Mia" not in olga.get("/people").body.decode()


@pytest.mark.parametrize(("path", "fields"), [
    ("/people/remove", {"name": "Olga"}),
    ("/people/invite", {"name": "olga", "role": "mechanic"}),
])  # fmt: skip
def test_the_last_owner_is_neither_removed_nor_made_less(
    olga: Phone, path: str, fields: dict[str, str]
) -> None:
    """Nobody could invite anybody any more, from any page."""
    told = olga.form(path, **fields)

    assert told.status == 422
    assert "Nobody else is an owner" in told.body.decode()
    assert olga.get("/people").status == 200


@pytest.mark.parametrize(("fields", "says"), [
    ({"role": "captain"}, "Choose a role"), ({}, "Choose a role"),
    ({"role": "operator"}, "whose hulls"), ({"role": "operator", "operator": "x"}, "whose hulls"),
    ({"role": "dock_hand", "dock": "west"}, "dock hand's dock"),
    ({"role": "mechanic", "name": " "}, "A name has 1 to"),
])  # fmt: skip
def test_what_lacks_is_said_and_nobody_is_invited(
    home: Home, olga: Phone, fields: dict[str, str], says: str
) -> None:
    told = olga.form("/people/invite", **{"name": "Nils"} | fields)

    assert told.status == 422
    assert says in unescape(told.body.decode())
    assert [one.name for one in People(home.dockside).members] == ["Olga"]


def test_an_operator_given_a_dock_by_mistake_is_bound_to_its_operator(
    home: Home, olga: Phone
) -> None:
    secret_in(olga.form("/people/invite", name="Us", role="operator", operator="us", dock="south"))

    (us,) = [one for one in People(home.dockside).members if one.name == "Us"]
    assert (us.operator, us.dock) == ("us", None)


def test_whoever_sits_at_the_machine_invites_an_owner_first(home: Home, served: Served) -> None:
    """Anybody else invited first would lock the shop out of its own page."""
    here = served.phone()
    here.token = here.get("/token").json["token"]
    assert "Nobody has to sign in yet" in here.get("/people").body.decode()
    assert here.form("/people/invite", name="Mia", role="mechanic").status == 422
    assert here.form("/people/link", hull="A1", days="7").status == 422
    assert not People(home.dockside).is_set_up

    secret = secret_in(here.form("/people/invite", name="Olga", role="owner"))

    assert here.get("/people").status == 401
    assert served.phone().join(secret, PASSWORD).get("/people").status == 200


def test_the_audit_page_tells_of_one_person_and_keeps_text_text(
    served: Served, olga: Phone
) -> None:
    hostile = "<script>alert(1)</script>"
    secret = secret_in(olga.form("/people/invite", name=hostile, role="mechanic"))
    served.phone("10.0.0.2").join(secret, PASSWORD).get("/board.json", **{"user-agent": "<b>x"})

    page = olga.get("/people/audit").body.decode()
    theirs = olga.get("/people/audit?who=%3Cscript%3Ealert%281%29%3C%2Fscript%3E").body.decode()

    assert "<script" not in page + olga.get("/people").body.decode()
    assert "&lt;script&gt;" in page
    assert "GET /board.json" in theirs
    assert "<td>Olga</td>" not in theirs


@pytest.mark.parametrize("path", ["/people/invite", "/people/link", "/people/remove"])
def test_another_sites_form_changes_nobody(home: Home, olga: Phone, path: str) -> None:
    """CSRF: without the page's own token, or from another origin, nothing is done."""
    bare = Phone(olga.served, olga.place, olga.cookie, "")
    fields = {"name": "Olga", "role": "owner", "hull": "A1", "days": "7"}

    assert bare.form(path, **fields).status == 403
    body = f"token={olga.token}&name=Eve&role=owner&hull=A1&days=7".encode()
    heads = {"cookie": olga.cookie, "origin": "http://evil.example",
             "content-type": "application/x-www-form-urlencoded"}  # fmt: skip
    assert olga.served.ask("POST", path, heads=heads, body=body).status == 403
    assert [one.name for one in People(home.dockside).members] == ["Olga"]
    assert People(home.dockside).links == ()
    assert MECHANIC not in {one.role for one in People(home.dockside).members}
