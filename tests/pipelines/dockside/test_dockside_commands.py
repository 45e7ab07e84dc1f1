"""The commands: who is invited, listed and removed; and the server, begun as a shop begins it."""

import http.client
import json
import re
import signal
import ssl
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.command_line import main
from pipelines.dockside.certificates import own_certificates
from pipelines.dockside.journal import Journal
from pipelines.dockside.people import People
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from tests.dockside.small_shop import entry, stamped
from tests.pipelines.dockside.shop_home import loaded_home
from tests.studies.dockside_phones import HERE, free_port


def run(home: Home, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["--home", str(home.folder), *arguments])


def test_people_are_invited_listed_and_removed(tmp_path: Path) -> None:
    home = Home(tmp_path)
    assert "Nobody" in run(home, "dockside-people", "list").output

    invited = run(
        home, "dockside-people", "invite", "Nils", "--role", "dock_hand", "--dock", "north"
    )

    secret = invited.output.partition("/join/")[2].partition("\n")[0]
    assert People(home.dockside).invited(secret, datetime.now(UTC)) is not None
    listed = run(home, "dockside-people", "list").output
    assert "Nils: dock_hand north (invited until" in listed
    assert secret not in listed
    assert run(home, "dockside-people", "remove", "nils").exit_code == 0
    assert "Nils" not in run(home, "dockside-people", "list").output


@pytest.mark.parametrize(("arguments", "words"), [
    (("invite", "Nils", "--role", "dock_hand"), "--dock"),
    (("invite", "Us", "--role", "operator"), "--operator"),
    (("invite", "Mia", "--role", "mechanic", "--dock", "north"), "nobody else has either"),
    (("invite", " ", "--role", "mechanic"), "1 to 60 letters"),
    (("remove", "Nobody"), "There is nobody"),
])  # fmt: skip
def test_what_cannot_be_is_told_in_words(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    told = run(Home(tmp_path), "dockside-people", *arguments)

    assert told.exit_code == 1
    assert words in told.output
    assert "Traceback" not in told.output


def test_a_link_is_made_to_a_hull_there_is(tmp_path: Path) -> None:
    home = loaded_home(tmp_path / "home")

    made = run(home, "dockside-people", "link", "A1", "--by", "Olga", "--days", "3")

    secret = made.output.partition("/see/")[2].strip()
    link = People(home.dockside).linked(secret, datetime.now(UTC) + timedelta(days=2))
    assert link is not None
    assert link.hull_id == "A1"
    wrong = run(home, "dockside-people", "link", "A9", "--by", "Olga")
    assert "No hull 'A9' is on record." in wrong.output


def test_codes_are_printed_for_hulls_in_service_or_those_named(tmp_path: Path) -> None:
    home = loaded_home(tmp_path / "home")

    made = run(home, "dockside-codes", "--address", "https://shop.local:8421")

    assert made.exit_code == 0, made.output
    assert (home.papers / "hull-codes.pdf").read_bytes().startswith(b"%PDF-")
    wrong = run(home, "dockside-codes", "A9", "--address", "https://shop.local:8421")
    assert "No hull 'A9' is on record. Did you mean A" in wrong.output
    nowhere = run(home, "dockside-codes", "--address", "shop")
    assert "'shop' is no address of the server." in nowhere.output
    none = run(Home(tmp_path / "empty").prepare(), "dockside-codes", "--address", "http://a.lan")
    assert "No hull is in service. Run 'ringland load FOLDER' first." in none.output


def test_off_this_machine_the_command_says_what_comes_first(tmp_path: Path) -> None:
    told = run(Home(tmp_path), "dockside", "--host", "0.0.0.0")  # noqa: S104 - refused

    assert told.exit_code == 1
    assert "dockside-people invite" in told.output


def test_a_load_takes_in_what_was_entered_while_no_server_runs(tmp_path: Path) -> None:
    home = loaded_home(tmp_path / "home")
    cells = {"hull_id": "A1", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "30",
             "source": "outside"}  # fmt: skip
    with Journal(home.dockside) as journal:
        journal.append([stamped(entry("fills", cells))])
    empty = tmp_path / "empty"
    empty.mkdir()

    told = run(home, "load", str(empty))

    assert told.exit_code == 0, told.output
    assert "Taken in from the dock's journal: 1 entries." in told.output
    assert warehouse_at(home.database).read_records()["fills"].height == 2


def test_the_server_begins_by_one_command_speaks_tls_and_stops(tmp_path: Path) -> None:
    home, port = loaded_home(tmp_path / "home"), free_port()
    made = own_certificates(tmp_path / "own", [HERE], datetime.now(UTC))
    script = str(Path(sys.executable).with_name("ringland"))
    command = [script, "--home", str(home.folder), "dockside", "--port", str(port),
               "--certificate", str(made.certificate), "--key", str(made.key)]  # fmt: skip
    trusts = ssl.create_default_context(cadata=made.authority.certificate)

    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            while (told := health(port, trusts)) is None or not told["ready"]:
                assert server.poll() is None, "the server ended before it was ready"
                time.sleep(0.1)
            with pytest.raises(ssl.SSLCertVerificationError):
                health(port, ssl.create_default_context())
        finally:
            server.send_signal(signal.SIGINT)
        assert server.stdout is not None
        said = server.stdout.read()

    assert server.returncode == 0
    assert re.search(rf"https://{re.escape(HERE)}:{port}", said)
    assert "Traceback" not in said
    Journal(home.dockside).close()  # nobody holds it any more


def health(port: int, trusts: ssl.SSLContext) -> dict[str, bool] | None:
    """What the server says of itself; None: nobody listens yet."""
    connection = http.client.HTTPSConnection(HERE, port, context=trusts, timeout=30)
    try:
        connection.request("GET", "/healthz")
        told: dict[str, bool] = json.loads(connection.getresponse().read())
    except ConnectionError:
        return None
    else:
        return told
    finally:
        connection.close()
