"""Commands of a network of operators: hand records in, work the week out."""

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.borrowed_effects import borrow_effects, give_back
from pipelines.command_parts import AS_OF, in_words, need_home, say
from pipelines.home import Home
from pipelines.weeks import as_of_week, current_week, week_of
from pipelines.whole_files import write_whole

if TYPE_CHECKING:
    from pipelines.network.network_week import Asked
    from ringland.settings.assumptions import Assumptions

_ON = click.option(
    "--on",
    default="here",
    metavar="WHERE",
    help="here, local:N (so many processes) or dask://HOST:PORT. Default: here.",
)
_MEMORY = click.option("--memory", metavar="SIZE", help="What a local process may take, e.g. 2GB.")


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
    handed = partial(hand_in_records, address, is_invented=home.is_demo)
    for one, kinds in in_words(lambda: handed(records, operator)).items():
        say(f"{one}: {sum(kind.rows for kind in kinds.values())} records")


@network.command("week")
@click.argument("address", metavar="NETWORK")
@AS_OF
@_ON
@_MEMORY
@click.pass_obj
def week(home: Home, address: str, as_of: datetime | None, on: str, memory: str | None) -> None:
    """Work out the week of every operator of NETWORK up to the fit, and what all add up to."""
    from pipelines.network.network_week import network_week  # noqa: PLC0415 - statistics

    asked = _asked(home, as_of, on, memory)
    found = in_words(lambda: network_week(address, asked))
    say(f"Week of {asked.monday}, before any fit:")
    for row in found.operators.iter_rows(named=True):
        reused = ", unchanged" if row["is_reused"] else ""
        say(f"  {row['operator']}: {_counted(row)}; {row['cpu_s']:.1f} s of CPU{reused}")
    say(f"All {found.operators.height} together: {_counted(found.total)}")
    if found.swept:
        say(f"Removed, as no week names them: {len(found.swept)} files")


@network.command("pool")
@click.argument("address", metavar="NETWORK")
@AS_OF
@_ON
@_MEMORY
@click.pass_obj
def pool(home: Home, address: str, as_of: datetime | None, on: str, memory: str | None) -> None:
    """Fit what the operators of NETWORK share: how much each factor raises the hazard.

    By rounds of sums; no record leaves an operator, and every number that does stands in its own
    list. Once a season is enough: few failures more say nothing new.
    """
    from pipelines.network.pooling import pool_effects  # noqa: PLC0415 - statistics

    asked = _asked(home, as_of, on, memory)
    found = in_words(lambda: pool_effects(address, asked))
    rests, shared, operators = found["rests_on"], found["shared"], found["operators"]
    n = len(shared["factors"])
    say(
        f"Week of {asked.monday}, what {rests['operators']} of {len(operators)} operators share "
        f"({rests['failures']} ring-land fractures of {rests['piston_sets']} piston sets):"
    )
    for at, factor in enumerate(shared["factors"]):
        ratios = (ends[at] for ends in (shared["ratio"], shared["low"], shared["high"]))
        apart = math.exp(shared["apart"][at])
        say(
            f"  {_factor(factor, asked.settings)}: {_range(*ratios)}; "
            f"operators lie apart by a factor of {apart:.2f}"
        )
    say(f"{shared['rounds']} rounds of sums of {n} factors; a baseline of its own for each.")
    if without := [one for one, share in operators.items() if share["failures"] is None]:
        say(
            f"Took no part, as below {found['least_failures']} fractures or without usable spells: "
            f"{', '.join(without)}"
        )
    say(f"What left each operator: operators/NAME/left-{asked.monday}.csv of the network")


@network.command("effects")
@click.argument("address", metavar="NETWORK")
@click.argument("operator")
@AS_OF
@click.option(
    "--file", type=click.Path(dir_okay=False), help="Write what its home may borrow there."
)
@click.pass_obj
def effects(
    home: Home, address: str, operator: str, as_of: datetime | None, file: str | None
) -> None:
    """Lay one operator's own effects beside those its network shares."""
    from pipelines.network.effects import effects_of, shared_with  # noqa: PLC0415 - statistics
    from ringland.risk.shared_effects import shared_effects_text  # noqa: PLC0415

    asked = _asked(home, as_of, "here", None)
    monday, table = in_words(lambda: effects_of(address, operator, asked.monday))
    first = table.row(0, named=True)
    say(f"{operator}, effects shared on the records of {monday}; hazard ratios, with their range:")
    say(f"  own: {first['own_failures']} ring-land fractures")
    say(
        f"  shared: {first['shared_operators']} operators, {first['shared_failures']} fractures of "
        f"{first['shared_piston_sets']} piston sets"
    )
    columns = ["own", "shared"]
    if not first["own_takes_part"]:
        columns.append("borrowed")
        say("  borrowed: the own record, begun from what the others' are like; it took no part")
    for row in table.iter_rows(named=True):
        say(f"{_factor(row['factor'], asked.settings)}")
        for column in columns:
            say(f"  {column}: {_range(*(row[f'{column}{end}'] for end in ('', '_low', '_high')))}")
    if file is not None:
        shared = in_words(lambda: shared_with(address, operator, asked.monday))
        write_whole(Path(file), shared_effects_text(shared).encode())
        say(f"For its home to borrow, its own record taken off: {file}")


@network.command("borrow")
@click.argument("file", type=click.Path(exists=True, dir_okay=False), required=False)
@click.option("--off", is_flag=True, help="Borrow nothing any more.")
@click.pass_obj
def borrow(home: Home, file: str | None, off: bool) -> None:
    """Let this home's weeks begin from what other operators share, as FILE says it.

    FILE is what 'ringland network effects NETWORK OPERATOR --file FILE' wrote. The home's own
    records speak on top of it, in the weeks from the Monday it was shared on.
    """
    if (file is None) != off:
        raise click.UsageError("Name the file to borrow from, or --off.")
    need_home(home)
    if file is None:
        gone = give_back(home)
        say(f"Nothing is borrowed any more; there was: {', '.join(gone) or 'nothing'}.")
        return
    text = Path(file).read_text(encoding="utf-8", errors="replace")
    shared = in_words(lambda: borrow_effects(home, str(file), text))
    say(
        f"Borrowed for {shared.operator}, from the weeks of {shared.monday} on: "
        f"{shared.operators} other operators, {shared.failures} ring-land fractures of "
        f"{shared.piston_sets} piston sets. Run 'ringland week' again."
    )


@network.command("share")
@click.argument("address", metavar="NETWORK")
@AS_OF
@click.option("--states", is_flag=True, help="How many hulls are in each state of its list.")
@click.option("--docks", is_flag=True, help="Its docks by name, as its own page compares them.")
@click.option("--nothing", is_flag=True, help="Show neither any more.")
@click.pass_obj
def share(
    home: Home, address: str, as_of: datetime | None, states: bool, docks: bool, nothing: bool
) -> None:
    """Show NETWORK what this home's week says of the states of its hulls or of its docks.

    In the place of what was shown before. Every number stands in the operator's own list of what
    left it; who may see the network's view sees it.
    """
    from pipelines.network.sharing import DOCKS, STATES, share  # noqa: PLC0415 - imports Dagster

    if nothing == (states or docks):
        raise click.UsageError("Name what to show (--states, --docks), or --nothing.")
    need_home(home)
    monday = _monday(home, as_of)
    kinds = [kind for kind, is_asked in ((STATES, states), (DOCKS, docks)) if is_asked]
    for one, told in in_words(lambda: share(address, home, monday, kinds)).items():
        said = [f"{len(told[DOCKS])} docks"] if docks else []
        said += [f"the states of {sum(told[STATES].values())} hulls"] if states else []
        say(f"{one} shows: {' and '.join(said) or 'nothing any more'} (week of {told['monday']})")


@network.command("own")
@click.argument("folder", metavar="FOLDER")
@AS_OF
@click.option("--csv", type=click.Path(file_okay=False), help="Write the tables there.")
@click.pass_obj
def own(home: Home, folder: str, as_of: datetime | None, csv: str | None) -> None:
    """Read one operator's week from FOLDER, its own part of a network (operators/NAME), alone.

    Each file is held to the digest that the week's list gives it.
    """
    from pipelines.network.own_folder import own_tables  # noqa: PLC0415 - fsspec

    monday, tables = in_words(lambda: own_tables(folder, _monday(home, as_of)))
    say(f"Week of {monday}, {len(tables)} tables, each as it was written:")
    for name, frame in tables.items():
        say(f"  {name}: {frame.height} rows")
        if csv is not None:
            Path(csv).mkdir(parents=True, exist_ok=True)
            write_whole(Path(csv, f"{name}.csv"), frame.write_csv().encode())


@network.command("view")
@click.argument("address", metavar="NETWORK")
@AS_OF
@click.option("--csv", "file", type=click.Path(dir_okay=False), help="Write the rows there too.")
@click.option("--page", type=click.Path(file_okay=False), help="Write a page into this folder.")
@click.pass_obj
def view(
    home: Home, address: str, as_of: datetime | None, file: str | None, page: str | None
) -> None:
    """Compare operators, kits and seasons of NETWORK, by what its newest week counted.

    The page also sets side by side what states of hulls and which docks operators agreed to show.
    """
    from pipelines.network.view import KINDS, network_report, network_view  # noqa: PLC0415 - statistics
    from ringland.pages.network.network_page import network_site  # noqa: PLC0415
    from ringland.words.manner import in_manner  # noqa: PLC0415

    asked = _asked(home, as_of, "here", None)
    confidence = asked.settings.number("survival.confidence")
    monday, rows = in_words(lambda: network_view(address, asked.monday, confidence))
    if file is not None:
        write_whole(Path(file), rows.write_csv().encode())
    if page is not None:
        Path(page).mkdir(parents=True, exist_ok=True)
        with in_manner(in_words(home.manner)):
            report = in_words(lambda: network_report(address, asked.monday, confidence))
            for name, content in network_site(report).items():
                write_whole(Path(page, name), content)
    say(f"Week of {monday}: ring-land fractures per 1,000 engine hours, with their range")
    for kind, title in KINDS.items():
        say(f"{title}:")
        for row in rows.filter(kind=kind).iter_rows(named=True):
            say(f"  {row['name']}: {_rate(row)}")
    if page is not None:
        say(f"Page: {Path(page, 'index.html')}")
    say("Seen, not explained: fuel, use and age differ between them (ringland network pool).")


def _rate(row: Mapping[str, Any]) -> str:
    if row["per_1000_h"] is None:
        return "no running on record"
    return (
        f"{row['per_1000_h']:.2f} ({row['low']:.2f} to {row['high']:.2f}); "
        f"{row['ring_land_fractures']:.0f} fractures and {row['other_failures']:.0f} other "
        f"failures of {row['piston_sets']:.0f} piston sets in {row['engine_h']:,.0f} h"
    )


def _asked(home: Home, as_of: datetime | None, on: str, memory: str | None) -> "Asked":
    from pipelines.network.network_week import Asked  # noqa: PLC0415 - statistics
    from ringland.bench.bench_limits import load_bench_limits  # noqa: PLC0415
    from ringland.settings.assumptions import load_assumptions  # noqa: PLC0415

    monday = _monday(home, as_of)
    return Asked(
        monday,
        as_of_week(monday, in_words(home.facts).zone),
        in_words(lambda: load_assumptions(home.settings)),
        in_words(lambda: load_bench_limits(home.bench_limits)),
        on,
        memory,
    )


def _monday(home: Home, as_of: datetime | None) -> str:
    if as_of is not None:
        return week_of(as_of.date())
    return current_week(datetime.now(UTC), in_words(home.facts).zone)


def _factor(name: str, settings: "Assumptions") -> str:
    from ringland.exposure.factor_registry import FACTORS  # noqa: PLC0415

    entry = FACTORS[name]
    if entry.is_yes_no:
        return f"{entry.title}, yes against no"
    return f"{entry.title}, per {entry.step(settings):g} {entry.unit} more"


def _range(ratio: float | None, low: float | None, high: float | None) -> str:
    return "no estimate" if ratio is None else f"{ratio:.2f} times ({low:.2f} to {high:.2f})"


def _counted(counts: Mapping[str, Any]) -> str:
    return (
        f"{counts['hulls']:.0f} hulls, {counts['piston_sets']:.0f} piston sets "
        f"({counts['ring_land_fractures']:.0f} ring-land fractures, "
        f"{counts['other_failures']:.0f} other failures), {counts['engine_h']:.0f} h, "
        f"{counts['burned_l']:.0f} l burned, {counts['unknown_l']:.0f} of them of unknown octane"
    )
