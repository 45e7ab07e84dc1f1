"""The live board: each hull's state of the newest list, and what records of late add to it.

The list's own words stand until the next list; an alert that holds keeps a hull from rent at
once, whatever the list said, and nothing here lets one go.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from html import escape
from urllib.parse import quote

import polars as pl

from ringland.contracts.decision_tables import OPEN
from ringland.dockside.alerts import Alert
from ringland.dockside.ground import Ground
from ringland.dockside.hull_trends import WeekOfHull, strip
from ringland.dockside.roles import OWNER, Person, Scope
from ringland.dockside.since_then import Told, is_in
from ringland.dockside.tank_words import TankLevel, level_words
from ringland.words.state_words import STATE_MARKS, STATE_SAYS, STATE_SHORT, STATE_TALLY

_ORDER = list(STATE_SAYS)
CAREFUL = "do_not_rent"
_WEEK_D = 7
_SEE_ABOVE = "Do not rent: see its alert above."
YESTERDAY = timedelta(days=1)
TOLD = 24
"""So many records of late are shown; the others are counted."""


@dataclass(frozen=True)
class Listed:
    """The newest list: its Monday, its `HullCalls` and the `HullJobs` of lists given out.

    `as_of` is the instant up to which it knew the records, `weeks` the eight weeks up to it by
    hull, `dock_fuel` what its ledger left in each dock's tank.
    """

    monday: str
    calls: pl.DataFrame
    jobs: pl.DataFrame | None
    as_of: datetime
    weeks: Mapping[str, list[WeekOfHull]] = field(default_factory=dict)
    dock_fuel: pl.DataFrame | None = None


@dataclass(frozen=True)
class BoardHull:
    """A hull: its state and words, and whether an alert and not the list put it so."""

    hull_id: str
    dock_id: str
    call: str
    says: str
    short: str
    """the same where its alerts stand above"""
    is_alerted: bool
    weeks: str = ""
    """the last eight weeks in marks, as HTML; empty: no list is kept"""


@dataclass(frozen=True)
class BoardJob:
    """An open job, with how many days it is overdue; 0: it is not."""

    job_id: str
    hull_id: str
    due: str
    overdue_d: int


@dataclass(frozen=True)
class BoardTank:
    """A dock's tank in words, and whether somebody should look before filling from it."""

    dock_id: str
    words: str
    is_careful: bool


@dataclass(frozen=True)
class Board:
    """What somebody may see of it all now."""

    monday: str | None
    list_age_d: int
    """whole days since the list knew the records; 0: there is none"""
    hulls: list[BoardHull]
    jobs: list[BoardJob]
    alerts: list[Alert]
    told: list[Told]
    """what was written down since this time yesterday, newest first"""
    tanks: list[BoardTank]


@dataclass(frozen=True)
class Looked:
    """What was worked out of the records at an instant, for everybody at once.

    `alerts` hold, oldest first; `told` was written down since this time the day before.
    """

    listed: Listed | None = None
    alerts: tuple[Alert, ...] = ()
    levels: tuple[TankLevel, ...] = ()
    told: tuple[Told, ...] = ()


def live_board(ground: Ground, scope: Scope, looked: Looked, now: datetime) -> Board:
    """The board as of now, of the hulls and docks in a scope.

    Args:
        ground: the records.
        scope: what may be seen.
        looked: what was worked out of them.
        now: the instant.
    """
    listed = looked.listed
    mine = [one for one in looked.alerts if scope.holds("hulls", one.hull_id)]
    words: dict[str, list[str]] = {}
    for one in mine:
        words.setdefault(one.hull_id, []).append(one.words)
    on_list = {row["hull_id"]: row for row in listed.calls.to_dicts()} if listed else {}
    hulls = []
    for hull_id, dock_id, out in ground.corrected["hulls"].select(
        "hull_id", "dock_id", "out_of_service_at"
    ).iter_rows():  # fmt: skip
        if not scope.holds("hulls", hull_id) or (out is not None and out <= now):
            continue
        call = on_list.get(hull_id, {}).get("call", "not_enough_record")
        says = on_list.get(hull_id, {}).get("says", STATE_SAYS["not_enough_record"])
        short, told = says, words.get(hull_id)
        if told:
            on_the_list = f"The list says: {says}."
            call, says = CAREFUL, " ".join([*told, on_the_list])
            short = f"{_SEE_ABOVE} {on_the_list}"
        weeks = strip(listed.weeks[hull_id]) if listed and hull_id in listed.weeks else ""
        hulls.append(BoardHull(hull_id, dock_id, call, says, short, bool(told), weeks))
    hulls.sort(key=lambda one: (not one.is_alerted, _place(one.call), one.hull_id))
    return Board(
        listed.monday if listed else None,
        (now - listed.as_of).days if listed else 0,
        hulls,
        _jobs(listed, scope, now),
        list(reversed(mine)),
        [one for one in looked.told if is_in(one, scope)],
        [
            BoardTank(one.dock_id, level_words(one), one.is_careful)
            for one in looked.levels
            if scope.holds("docks", one.dock_id)
        ],
    )


def _place(call: str) -> int:
    return _ORDER.index(call) if call in _ORDER else len(_ORDER)


def _jobs(listed: Listed | None, scope: Scope, now: datetime) -> list[BoardJob]:
    if listed is None or listed.jobs is None:
        return []
    rows = listed.jobs.filter(pl.col("state") == OPEN).sort("due_at", "job_id")
    return [
        BoardJob(job, hull, f"{due:%Y-%m-%d}", max(0, (now - due).days))
        for job, hull, due in rows.select("job_id", "hull_id", "due_at").iter_rows()
        if scope.holds("hulls", hull)
    ]


def board_page(board: Board, person: Person, trouble: str, *, is_invented: bool) -> str:
    """The board as a page, for a phone or a wall; it renews itself."""
    listed = "No list is worked out yet."
    if board.monday is not None:
        listed = f"States of the list of {board.monday}, and what records of late add."
    if board.list_age_d > _WEEK_D:
        listed += f" That list is {board.list_age_d} days old: this week's is not worked out yet."
    parts = [
        f"<h1>{escape('Invented demo data: ' if is_invented else '')}The hulls now</h1>",
        f'<p class="of">{listed} No open job known is never clearance to run.</p>',
        f'<p class="of" role="alert">{escape(trouble)}</p>' if trouble else "",
        _tiles(board.hulls),
        '<div class="beside">',
        _section("Tanks by dock", [_tank(one) for one in board.tanks], "tanks"),
        _section("Alerts", _by_hull(board.alerts), "alerts"),
        _section("Since this time yesterday",
                 [_item("", one.hull_id, one.words) for one in board.told], "told", TOLD),
        _section("Open jobs", [_item("", one.hull_id, _job(one)) for one in board.jobs], "jobs"),
        "</div>",
        _section("Hulls in words", [_item(one.call, one.hull_id, one.short, one.weeks)
                                    for one in board.hulls], "words"),
    ]  # fmt: skip
    body = "\n".join(filter(None, parts))
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>The hulls now</title><link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/board.css">
<script src="/assets/board.js" defer></script></head>
<body class="board"><p class="lost" role="status">The shop's computer is out of reach: this is what
it said last.</p><nav>{_lists(person)}</nav>
<main>
{body}
</main></body></html>
"""


def _lists(person: Person) -> str:
    listed = '<a href="/week/">The week\'s list</a>' if person.sees_all else ""
    people = '<a href="/people">People</a>' if person.role == OWNER else ""
    return f'<a href="/write">Write down</a> {listed} {people}'


def _job(one: BoardJob) -> str:
    late = f", overdue for {one.overdue_d} days" if one.overdue_d else ""
    return f"{one.job_id}, due {one.due}{late}"


def _tank(one: BoardTank) -> str:
    mark, call = (f"{STATE_MARKS['rent_only']} ", "rent_only") if one.is_careful else ("", "")
    return f'<li class="{call}">{mark}{escape(one.words)}</li>'


def _item(call: str, hull: str | None, says: str, weeks: str = "") -> str:
    return f'<li class="{escape(call)}">{_head(call, hull)}{escape(says)}{weeks}</li>'


def _section(title: str, lines: Sequence[str], place: str, most: int | None = None) -> str:
    if not lines:
        return ""
    shown = [*lines[:most]]
    if len(lines) > len(shown):
        shown.append(f"<li>and {len(lines) - len(shown)} before these</li>")
    listed = "\n".join(shown)
    head = f"<h2>{escape(title)} ({len(lines)})</h2>"
    return f'<section class="{place}">{head}\n<ul>\n{listed}\n</ul></section>'


def _by_hull(alerts: Sequence[Alert]) -> list[str]:
    words: dict[str, list[str]] = {}
    for one in alerts:
        words.setdefault(one.hull_id, []).append(one.words)
    return [_item(CAREFUL, hull, " ".join(told)) for hull, told in words.items()]


def _tiles(hulls: Sequence[BoardHull]) -> str:
    """Every hull by its mark and name, to be read from across the room, and how many of which."""
    if not hulls:
        return ""
    counts = Counter(one.call for one in hulls)
    tally = "; ".join(
        f"{STATE_MARKS.get(call, '')} {counts[call]} {STATE_TALLY.get(call, call)}"
        for call in sorted(counts, key=_place)
    )
    tiles = "\n".join(
        f'<li class="{escape(one.call)}"><a href="{_address(one.hull_id)}">'
        f'<span aria-hidden="true">{STATE_MARKS.get(one.call, "")}</span> {escape(one.hull_id)}'
        f'<span class="said">: {escape(STATE_SHORT.get(one.call, one.call))}</span></a></li>'
        for one in hulls
    )
    return (
        f'<section class="tiles"><h2>{len(hulls)} hulls</h2>\n<p class="tally">{escape(tally)}</p>'
        f"\n<ul>\n{tiles}\n</ul></section>"
    )


def _address(hull: str) -> str:
    return f"/hull/{quote(hull, safe='')}"


def _head(call: str, hull: str | None) -> str:
    if hull is None:
        return ""
    mark = STATE_MARKS.get(call, "")
    return f'{mark} <a href="{_address(hull)}">{escape(hull)}</a>: '
