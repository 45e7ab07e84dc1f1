"""The commands of the dockside server, and those on who may use it."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import click

from pipelines.command_parts import in_words, say
from pipelines.home import Home

ROLE_CHOICES = ["owner", "mechanic", "operator", "dock_hand"]
PORT = 8421


@click.command()
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="The address to listen on. Any but this machine's own needs an owner's sign-in, "
    "and speaks TLS.",
)
@click.option("--port", default=PORT, show_default=True, type=click.IntRange(1, 65535))
@click.option("--name", "names", multiple=True, help="A further name phones ask for it by.")
@click.option(
    "--certificate",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The shop's own certificate (PEM), with --key.",
)
@click.option("--key", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.pass_obj
def dockside(
    home: Home,
    host: str,
    port: int,
    names: tuple[str, ...],
    certificate: Path | None,
    key: Path | None,
) -> None:
    """Serve the entry forms and the live board to this machine, or to the marina's network."""
    from pipelines.dockside.serving import serve, where  # noqa: PLC0415 - starts in 3 s

    if (certificate is None) != (key is None):
        raise click.UsageError("Give --certificate and --key together, or neither.")
    own = None if certificate is None or key is None else (certificate, key)
    home.prepare()
    place = in_words(lambda: where(home, host, port, datetime.now(UTC), names, own))

    def started() -> None:
        for origin in place.origins:
            say(origin)
        if place.authority is not None:
            say(f"The shop's authority: SHA-256 {place.authority.fingerprint}")
            say(f"A phone trusts it once, by {place.origins[0]}/trust")
        say("Stop with Ctrl-C; leaving it off loses nothing.")

    in_words(lambda: serve(home, place, started))


@click.group("dockside-people")
def people() -> None:
    """Who may use the dockside server."""


@people.command()
@click.argument("name")
@click.option("--role", type=click.Choice(ROLE_CHOICES), required=True)
@click.option("--operator", help="Of an operator: whose hulls, as the records name it.")
@click.option("--dock", help="Of a dock hand: which dock.")
@click.pass_obj
def invite(home: Home, name: str, role: str, operator: str | None, dock: str | None) -> None:
    """Invite NAME; their old password, if any, holds no more."""
    from pipelines.dockside.people import INVITED_FOR, People  # noqa: PLC0415

    book = People(home.prepare().dockside)
    secret = in_words(lambda: book.invite(name, role, datetime.now(UTC), operator, dock))
    say(f"For {name} alone, once, within {INVITED_FOR.days} days: ADDRESS/join/{secret}")
    say("ADDRESS is what 'ringland dockside' shows when it starts.")


@people.command("list")
@click.pass_obj
def list_people(home: Home) -> None:
    """List who may use it, and the links."""
    from pipelines.dockside.people import People  # noqa: PLC0415

    book = People(home.dockside)
    for one in book.members:
        state = "has a password" if one.password else f"invited until {one.invited_until[:16]}"
        say(f"{one.name}: {one.role} {one.operator or one.dock or ''} ({state})".replace("  ", " "))
    for link in book.links:
        say(f"link {link.id}: reads {link.hull_id} until {link.until[:16]}, by {link.made_by}")
    if not book.members:
        say("Nobody: the server answers this machine only, and whoever sits at it.")


@people.command()
@click.argument("name")
@click.pass_obj
def remove(home: Home, name: str) -> None:
    """Take NAME, or the link of that id, out: at once, wherever they are signed in."""
    from pipelines.dockside.people import People  # noqa: PLC0415

    in_words(lambda: People(home.dockside).remove(name))
    say(f"{name} is out.")


@people.command()
@click.argument("hull")
@click.option("--days", default=14, show_default=True, type=click.IntRange(1, 365))
@click.option("--by", required=True, metavar="NAME", help="Who gives it.")
@click.pass_obj
def link(home: Home, hull: str, days: int, by: str) -> None:
    """Make a link by which whoever has it reads HULL's page, until it ends."""
    from pipelines.dockside.people import People  # noqa: PLC0415
    from pipelines.duckdb_warehouse import record_rows, warehouse_at  # noqa: PLC0415

    def known() -> set[str]:
        with warehouse_at(home.database).connect() as con:
            return set(record_rows(con, "hulls")["hull_id"])

    if hull not in in_words(known):
        raise click.ClickException(f"No hull '{hull}' is on record.")
    until = datetime.now(UTC) + timedelta(days=days)
    secret = in_words(lambda: People(home.dockside).link(hull, until, by))
    say(f"Reads {hull} until {until:%Y-%m-%d}: ADDRESS/see/{secret}")


@people.command()
@click.option("--last", default=50, show_default=True, type=click.IntRange(1))
@click.pass_obj
def audit(home: Home, last: int) -> None:
    """Show who saw and wrote what of late."""
    from pipelines.dockside.audit import read_audit  # noqa: PLC0415

    for one in list(read_audit(home.dockside))[-last:]:
        say(f"{one['at'][:19]} {one['who']} {one['did']} {one['what']} [{one['device']}]")


@click.command("dockside-codes")
@click.argument("hulls", metavar="HULL...", nargs=-1)
@click.option("--address", required=True, help="Where phones reach the server, as it shows it.")
@click.pass_obj
def codes(home: Home, hulls: tuple[str, ...], address: str) -> None:
    """Write sheets of codes to print and stick on the HULLs, or on all in service.

    A phone that scans one is at that hull's forms.
    """
    from pipelines.dockside.code_sheets import write_codes  # noqa: PLC0415 - the typesetter

    say(in_words(lambda: write_codes(home, hulls, address, datetime.now(UTC))))


DOCKSIDE = (dockside, people, codes)
"""The commands, as the command line lists them."""
