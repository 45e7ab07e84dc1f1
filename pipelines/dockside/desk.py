"""The desk: entries checked and kept in groups, and the records they are checked against.

Requests that come while the disk is at work wait for the next group, which is checked kind by
kind and forced to the disk at once.  A second thread takes the journal in and reads the records
anew, so that a week at work on the warehouse holds up nobody's entry.
"""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from threading import Lock
from typing import TYPE_CHECKING

import polars as pl
from starlette.exceptions import HTTPException

from pipelines.dockside.alerts_out import send_out
from pipelines.dockside.journal import Journal
from pipelines.dockside.taking_in import Stamp, stamp_of, take_journal_in, taken_to
from pipelines.duckdb_warehouse import BusyError, record_rows, rows_met, warehouse_at
from pipelines.home import Home
from pipelines.weekly.store import WeekStore
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.entries import EntryFault, StampedEntry, check_entries, key_of
from ringland.dockside.ground import Ground, in_place
from ringland.dockside.journal_lines import known_or_entered
from ringland.dockside.roles import Person

if TYPE_CHECKING:
    from pipelines.dockside.listed import Lists
    from ringland.dockside.live_board import Looked

KEPT, KNOWN, REFUSED = "kept", "known", "refused"
GROUP = 1_000
"""Entries checked and written at once, at most."""
MOST_WAITING = 10_000
LOOKS_S = 2.0
"""How often the warehouse is looked at for what other commands loaded."""


class TooMuchWaitsError(RuntimeError):
    """More entries wait for the disk than the machine should hold."""


@dataclass(frozen=True)
class Answer:
    """What became of one entry."""

    outcome: str
    faults: Sequence[EntryFault] = ()


@dataclass(frozen=True)
class Drawn:
    """A board as somebody was shown it, of which look, and a mark by which it is known again."""

    looked: "Looked"
    trouble: str
    page: bytes
    mark: str


@dataclass
class _Sheet:
    """The entries of one request, and what becomes of them."""

    entries: Sequence[StampedEntry]
    keeps: bool
    done: asyncio.Future[list[Answer]]
    answers: dict[int, Answer] = field(default_factory=dict)


class Desk:
    """What the server's pages ask: the ground, and that entries be checked or kept."""

    def __init__(self, home: Home, now: Callable[[], datetime]) -> None:
        self.home, self.now = home, now
        self.turns = 0
        """how often the ground was read anew: what was worked out of an older one is out of date"""
        self._journal = Journal(home.dockside)
        self._ground: Ground | None = None
        self._waiting: list[tuple[int, str, pl.DataFrame]] = []
        self._lock = Lock()
        self._ready, self._wakes = asyncio.Event(), asyncio.Event()
        self._sheets: asyncio.Queue[_Sheet] = asyncio.Queue()
        self._queued = 0
        self._threads = [ThreadPoolExecutor(1, name) for name in ("entries", "warehouse")]
        self._seen: Stamp = None
        self._lists: Lists | None = None
        self.looked_last: Looked | None = None
        """what was worked out of the ground last; None: nothing yet"""
        self.drawn: dict[Person, Drawn] = {}
        """boards of the last look, by who asked"""
        self._looked_at: tuple[Ground | None, datetime | None] = (None, None)
        self._has_looked = asyncio.Event()
        self.unsent = ""
        """why an alert could not be mailed; empty: all were, or none is to be"""
        self.trouble = ""
        """why the journal cannot be taken in at the moment; empty: it can"""

    @property
    def is_ready(self) -> bool:
        """Whether the records were read."""
        return self._ready.is_set()

    async def ground(self) -> Ground:
        """What is on record, with what waits to be."""
        await self._ready.wait()
        assert self._ground is not None
        return self._ground

    async def looked(self) -> "Looked":
        """What was worked out of it last.

        Raises:
            HTTPException: nothing can be, and why.
        """
        await self._has_looked.wait()
        if self.looked_last is None:
            raise HTTPException(503, self.trouble)
        return self.looked_last

    async def submit(self, entries: Sequence[StampedEntry], *, keeps: bool) -> list[Answer]:
        """Check entries and, if asked to, keep those without a fault.

        Raises:
            TooMuchWaitsError: try again in a moment.
            OSError: the disk takes no more.
        """
        if not entries:
            return []
        await self._ready.wait()
        if self._queued + len(entries) > MOST_WAITING:
            raise TooMuchWaitsError
        self._queued += len(entries)
        sheet = _Sheet(entries, keeps, asyncio.get_running_loop().create_future())
        await self._sheets.put(sheet)
        try:
            return await asyncio.shield(sheet.done)
        finally:
            self._queued -= len(entries)

    @asynccontextmanager
    async def at_work(self) -> AsyncIterator[None]:
        """Answer while the block lasts; what was kept by its end is taken in by whoever is next."""
        tasks = [asyncio.create_task(self._answer()), asyncio.create_task(self._take_in())]
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()
            for task in tasks:
                with suppress(asyncio.CancelledError):
                    await task
            for thread in self._threads:
                thread.shutdown()
            self._journal.close()

    async def _answer(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            sheets = [await self._sheets.get()]
            size = len(sheets[0].entries)
            while size < GROUP and not self._sheets.empty():
                sheets.append(self._sheets.get_nowait())
                size += len(sheets[-1].entries)
            try:
                await loop.run_in_executor(self._threads[0], self._judge, sheets)
            except Exception as error:
                for sheet in sheets:
                    sheet.done.set_exception(error)
                continue
            for sheet in sheets:
                sheet.done.set_result([sheet.answers[place] for place in range(len(sheet.entries))])
            if any(sheet.keeps for sheet in sheets):
                self._wakes.set()

    def _judge(self, sheets: Sequence[_Sheet]) -> None:
        """Answer sheets in rounds: of entries with one id or one key, one a round."""
        left = [(sheet, place) for sheet in sheets for place in range(len(sheet.entries))]
        while left:
            taken: set[tuple[str, ...]] = set()
            this_round: list[tuple[_Sheet, int]] = []
            later: list[tuple[_Sheet, int]] = []
            for sheet, place in left:
                one = sheet.entries[place].entry
                if sheet.keeps and self._journal.knows(one.id):
                    sheet.answers[place] = Answer(KNOWN)
                    continue
                marks = {("id", one.id), (one.kind, *key_of(one))} if sheet.keeps else set()
                part = later if marks & taken else this_round
                part.append((sheet, place))
                taken |= marks
            self._judge_round(this_round)
            left = later

    def _judge_round(self, places: Sequence[tuple[_Sheet, int]]) -> None:
        keep: list[StampedEntry] = []
        rows: list[tuple[str, pl.DataFrame]] = []
        kept: list[tuple[_Sheet, int]] = []
        assert self._ground is not None
        for keeps in (True, False):
            for kind in ALL_KINDS:
                mine = [
                    (sheet, place)
                    for sheet, place in places
                    if sheet.keeps is keeps and sheet.entries[place].entry.kind == kind
                ]
                if not mine:
                    continue
                entries = [sheet.entries[place] for sheet, place in mine]
                checked = check_entries(entries, self._ground)
                for (sheet, place), found, stamped in zip(
                    mine, checked.faults, entries, strict=True
                ):
                    sheet.answers[place] = Answer(REFUSED if found else KEPT, tuple(found))
                    if keeps and not found:
                        keep.append(stamped)
                        kept.append((sheet, place))
                if keeps:
                    rows.append((kind, checked.loaded))
        if not keep:
            return
        self._journal.append(keep)
        end = self._journal.path.stat().st_size
        with self._lock:
            self._waiting += [(end, kind, loaded) for kind, loaded in rows]
            self._ground = self._with_waiting(self._ground)

    def _with_waiting(self, ground: Ground) -> Ground:
        return ground.while_waiting(_by_kind(self._waiting))

    async def _take_in(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                if self._ground is not None:  # what was entered shows before it is taken in
                    await loop.run_in_executor(self._threads[1], self._look)
                await loop.run_in_executor(self._threads[1], self._renew)
                self.trouble = ""
                if self._ground is not None:
                    self._ready.set()
                await loop.run_in_executor(self._threads[1], self._look)
            except Exception as error:
                self.trouble = str(error)
            if self._ground is not None:
                self._has_looked.set()
            with suppress(TimeoutError):
                await asyncio.wait_for(self._wakes.wait(), LOOKS_S)
            self._wakes.clear()

    def _renew(self) -> None:
        """Take the journal in, and read the records if anything moved."""
        with suppress(BusyError):  # a week is at work on it; the entries wait on the disk
            batches = take_journal_in(self.home)
            stamps = [self._seen, *(one for batch in batches for one in (batch.found, batch.left))]
            last, between = stamps[-1], stamps[:-1]
            is_as_read = self._ground is not None and between[::2] == between[1::2]
            if batches or not is_as_read or stamp_of(self.home) != last:
                end = taken_to(self.home)
                loaded: Counter[str] = Counter()
                for count in (one for batch in batches for one in batch.counts):
                    loaded[count.kind] += count.rows_in
                waited = _by_kind([one for one in self._waiting if one[0] <= end])
                records, is_as_read = self._read(loaded, waited, last if is_as_read else None)
                self._seen = stamp_of(self.home)
                with self._lock:
                    before = self._ground
                    self._waiting = [one for one in self._waiting if one[0] > end]
                    fresh = Ground(records, self.home.facts().operator)
                    self._ground = self._with_waiting(fresh)
                    is_told = is_as_read and before is self._looked_at[0]
                    if before is not None and is_told and self._ground.is_entered_as(before):
                        self._looked_at = (self._ground, self._looked_at[1])
                    self.turns += 1

    def _read(
        self, loaded: Mapping[str, int], waited: Mapping[str, pl.DataFrame], left: Stamp
    ) -> tuple[dict[str, pl.DataFrame], bool]:
        """The records, and whether only entries came to those read before.

        They did if the warehouse is as these `left` it.  Where more rows of a kind were loaded
        than waited (one comes on the disk just before it waits), that kind is read whole.

        The demo's go up to its list's day: the invented season runs on to autumn, and its board
        would tell of months after the list.
        """
        with warehouse_at(self.home.database).connect() as con:
            is_as_read = left is not None and stamp_of(self.home) == left
            there = self._ground.records if self._ground and is_as_read else {}
            came = {
                kind: rows
                for kind, rows in waited.items()
                if kind in there and rows.height == loaded[kind]
            }
            fresh = {
                kind: rows_met(con, kind, came[kind]) if kind in came else record_rows(con, kind)
                for kind in (loaded if there else ALL_KINDS)
            }
        store = WeekStore(self.home.weeks)
        if self.home.is_demo and (newest := store.newest(None)) is not None:
            as_of = datetime.fromisoformat(store.listed(newest).as_of)
            fresh = known_or_entered(fresh, as_of)
        for kind in came:
            fresh[kind] = in_place(ALL_KINDS[kind], there[kind], fresh[kind])
        return {**there, **fresh}, is_as_read

    def _look(self) -> None:
        """Work out what holds now, if an entry, a week or a minute came since it was last."""
        assert self._ground is not None
        from pipelines.dockside.listed import Lists, look  # noqa: PLC0415 - imports Dagster

        ground, now = self._ground, self.now()
        self._lists = self._lists or Lists(self.home)
        minute = now.replace(second=0, microsecond=0)
        is_seen = self._looked_at[0] is ground and self._looked_at[1] == minute
        if is_seen and not self._lists.has_moved():
            return
        self.drawn = {}
        self.looked_last = looked = look(self.home, self._lists, ground, now)
        self._looked_at = (ground, minute)
        try:
            send_out(self.home, looked.alerts, now)
            self.unsent = ""
        except OSError as error:
            self.unsent = f"Alerts could not be mailed: {error}"


def _by_kind(waiting: Sequence[tuple[int, str, pl.DataFrame]]) -> dict[str, pl.DataFrame]:
    parts: dict[str, list[pl.DataFrame]] = {}
    for _, kind, rows in waiting:
        parts.setdefault(kind, []).append(rows)
    return {kind: pl.concat(rows) for kind, rows in parts.items()}
