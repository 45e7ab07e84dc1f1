"""Commands of a network of operators: hand records in, work the week out."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import click

from pipelines.command_parts import AS_OF, in_words, say
from pipelines.home import Home
from pipelines.weeks import as_of_week, current_week, week_of


@click.group()
def network() -> None:
    """Many operators' weeks, each from its own records, in one process or many.

    NETWORK is a folder, or the address of an object store.
    """


@network.command("hand-in")
@click.argument("address", metavar="NETWORK")
@click.pass_obj
def hand_in(home: Home, address: str) -> None:
    """Put this home's records into NETWORK, cut by operator.

    Refused where an engine, a hull or a dock has records with two operators.
    """
    from pipelines.duckdb_warehouse import warehouse_at  # noqa: PLC0415 - imports Dagster
    from pipelines.network.network_week import hand_in_records  # noqa: PLC0415

    records = in_words(lambda: warehouse_at(home.database).read_records())
    operator = in_words(home.facts).operator
    for one, kinds in in_words(lambda: hand_in_records(address, records, operator)).items():
        say(f"{one}: {sum(kind.rows for kind in kinds.values())} records")


@network.command("week")
@click.argument("address", metavar="NETWORK")
@AS_OF
@click.option(
    "--on",
    default="here",
    metavar="WHERE",
    help="here, local:N (so many processes) or dask://HOST:PORT. Default: here.",
)
@click.option("--memory", metavar="SIZE", help="What a local process may take, e.g. 2GB.")
@click.pass_obj
def week(home: Home, address: str, as_of: datetime | None, on: str, memory: str | None) -> None:
    """Work out the week of every operator of NETWORK up to the fit, and what all add up to."""
    from pipelines.network.network_week import Asked, network_week  # noqa: PLC0415 - statistics
    from ringland.bench.bench_limits import load_bench_limits  # noqa: PLC0415
    from ringland.settings.assumptions import load_assumptions  # noqa: PLC0415

    zone = in_words(home.facts).zone
    monday = week_of(as_of.date()) if as_of else current_week(datetime.now(UTC), zone)
    asked = Asked(
        monday,
        as_of_week(monday, zone),
        in_words(lambda: load_assumptions(home.settings)),
        in_words(lambda: load_bench_limits(home.bench_limits)),
        on,
        memory,
    )
    found = in_words(lambda: network_week(address, asked))
    say(f"Week of {monday}, before any fit:")
    for row in found.operators.iter_rows(named=True):
        reused = ", unchanged" if row["is_reused"] else ""
        say(f"  {row['operator']}: {_counted(row)}; {row['cpu_s']:.1f} s of CPU{reused}")
    say(f"All {found.operators.height} together: {_counted(found.total)}")
    if found.swept:
        say(f"Removed, as no week names them: {len(found.swept)} files")


def _counted(counts: Mapping[str, Any]) -> str:
    return (
        f"{counts['hulls']:.0f} hulls, {counts['piston_sets']:.0f} piston sets "
        f"({counts['ring_land_fractures']:.0f} ring-land fractures, "
        f"{counts['other_failures']:.0f} other failures), {counts['engine_h']:.0f} h, "
        f"{counts['burned_l']:.0f} l burned, {counts['unknown_l']:.0f} of them of unknown octane"
    )
