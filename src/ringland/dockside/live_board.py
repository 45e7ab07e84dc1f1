"""The live board: each hull's state of the newest list, and what records of late add to it.

The list's own words stand until the next list; an alert that holds keeps a hull from rent at
once, whatever the list said, and nothing here lets one go.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from urllib.parse import quote

import polars as pl

from ringland.contracts.decision_tables import OPEN
from ringland.dockside.alerts import Alert
from ringland.dockside.ground import Ground
from ringland.dockside.roles import Person, Scope
from ringland.dockside.since_then import Told, told_since
from ringland.words.number_words import number_text
from ringland.words.state_words import STATE_MARKS, STATE_SAYS

_ORDER = list(STATE_SAYS)
CAREFUL = "do_not_rent"
YESTERDAY = timedelta(days=1)


@dataclass(frozen=True)
class Listed:
    """The newest list: its Monday, its `HullCalls` and the `HullJobs` of lists given out.

    `as_of` is the instant up to which it knew the records.
    """

    monday: str
    calls: pl.DataFrame
    jobs: pl.DataFrame | None
    as_of: datetime


@dataclass(frozen=True)
class BoardHull:
    """A hull: its state and words, and whether an alert and not the list put it so."""

    hull_id: str
    dock_id: str
    call: str
    says: str
    is_alerted: bool


@dataclass(frozen=True)
class BoardJob:
    """An open job, with how many days it is overdue; 0: it is not."""

    job_id: str
    hull_id: str
    due: str
    overdue_d: int


@dataclass(frozen=True)
class Board:
    """What somebody may see of it all now."""

    monday: str | None
    hulls: list[BoardHull]
    jobs: list[BoardJob]
    alerts: list[Alert]
    told: list[Told]
    """what was written down since this time yesterday, newest first"""
    deliveries: list[str]


def live_board(
    ground: Ground, scope: Scope, listed: Listed | None, alerts: Sequence[Alert], now: datetime
) -> Board:
    """The board as of now, of the hulls and docks in a scope.

    Args:
        ground: the records.
        scope: what may be seen.
        listed: the newest list; None: no week is worked out yet.
        alerts: those that hold, of all hulls.
        now: the instant.
    """
    mine = [one for one in alerts if scope.holds("hulls", one.hull_id)]
    on_list = {row["hull_id"]: row for row in listed.calls.to_dicts()} if listed else {}
    hulls = []
    for hull_id, dock_id, out in ground.corrected["hulls"].select(
        "hull_id", "dock_id", "out_of_service_at"
    ).iter_rows():  # fmt: skip
        if not scope.holds("hulls", hull_id) or (out is not None and out <= now):
            continue
        call = on_list.get(hull_id, {}).get("call", "not_enough_record")
        says = on_list.get(hull_id, {}).get("says", STATE_SAYS["not_enough_record"])
        told = [one.words for one in mine if one.hull_id == hull_id]
        if told:
            call, says = CAREFUL, " ".join([*told, f"The list says: {says}."])
        hulls.append(BoardHull(hull_id, dock_id, call, says, bool(told)))
    hulls.sort(key=lambda one: (not one.is_alerted, _place(one.call), one.hull_id))
    return Board(
        listed.monday if listed else None,
        hulls,
        _jobs(listed, scope, now),
        list(reversed(mine)),
        told_since(ground, scope, now - YESTERDAY, now),
        _deliveries(ground, scope, now),
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


def _deliveries(ground: Ground, scope: Scope, now: datetime) -> list[str]:
    """Each dock's last delivery: grade, litres and how long it has lain there at least."""
    rows = ground.entered["deliveries"].filter(pl.col("delivered_at") <= now)
    last = rows.sort("delivered_at").unique(["dock_id", "tank_id"], keep="last")
    return [
        f"{row['dock_id']}{_tank(row['tank_id'])}: {_grade(row['octane_aki'])}, "
        f"{number_text(row['volume_l'], 0)} l, {(now - row['delivered_at']).days} days ago"
        for row in last.sort("dock_id", "tank_id").iter_rows(named=True)
        if scope.holds("docks", row["dock_id"])
    ]


def _tank(name: str | None) -> str:
    return "" if name is None else f" tank {name}"


def _grade(aki: float | None) -> str:
    return "AKI not on record" if aki is None else f"{number_text(aki)} AKI"


def board_page(board: Board, person: Person, trouble: str, *, is_invented: bool) -> str:
    """The board as a page, for a phone or a wall; it renews itself."""
    listed = "No list is worked out yet."
    if board.monday is not None:
        listed = f"States of the list of {board.monday}, and what records of late add."
    parts = [
        f"<h1>{escape('Invented demo data: ' if is_invented else '')}The hulls now</h1>",
        f"<p>{listed} No open job known is never clearance to run.</p>",
        f'<p role="alert">{escape(trouble)}</p>' if trouble else "",
        _section("Alerts", [(CAREFUL, one.hull_id, one.words) for one in board.alerts]),
        _section("Since this time yesterday", [("", one.hull_id, one.words) for one in board.told]),
        _section("Hulls", [(one.call, one.hull_id, one.says) for one in board.hulls]),
        _section("Open jobs", [("", one.hull_id, _job(one)) for one in board.jobs]),
        _section("Last delivery by dock", [("", None, one) for one in board.deliveries]),
    ]
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
    return f'<a href="/write">Write down</a> {listed}'


def _job(one: BoardJob) -> str:
    late = f", overdue for {one.overdue_d} days" if one.overdue_d else ""
    return f"{one.job_id}, due {one.due}{late}"


def _section(title: str, rows: Sequence[tuple[str, str | None, str]]) -> str:
    if not rows:
        return ""
    lines = [f'<li class="{escape(call)}">{_head(call, hull)}{escape(says)}</li>'
             for call, hull, says in rows]  # fmt: skip
    listed = "\n".join(lines)
    head = f"<h2>{escape(title)} ({len(rows)})</h2>"
    return f"<section>{head}\n<ul>\n{listed}\n</ul></section>"


def _head(call: str, hull: str | None) -> str:
    if hull is None:
        return ""
    mark = STATE_MARKS.get(call, "")
    return f'{mark} <a href="/hull/{quote(hull, safe="")}">{escape(hull)}</a>: '
