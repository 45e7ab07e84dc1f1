"""Where a network's records and weeks lie: a folder, or an object store by its address.

A table's file bears a digest of its bytes, so nothing is ever written over; it is written aside
and renamed.  Lists (JSON) alone say which files count: `records.json` what operators handed in,
`weeks/<Monday>.json` what a week was made from and made, `pools/<Monday>.json` what effects the
operators share.  What no list names is swept.

An operator's own things lie in `operators/<name>/` alone and are read without the rest: its
tables, `week-<Monday>.json` with what its week was made from and made, `left-<Monday>.csv` with
every number that left it, and `shown.json` with what it agreed to show.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from uuid import uuid4

import fsspec
import polars as pl
from blake3 import blake3
from filelock import FileLock, Timeout

from pipelines.weekly.store import StoreError
from pipelines.whole_files import put_in_place

RECORDS = "records.json"
_WEEKS, _POOLS = "weeks", "pools"
_FILES, _PARTIAL, _LOCK = "operators", ".partial", ".in-use"
_OWN = re.compile(rf"{_FILES}/[^/]+/(left-[^/]+\.csv|shown\.json)")
_INVENTED = "invented-records"
_TOLD = ("round", "sum", "value")


class Written(NamedTuple):
    """A table that was written: its file under the network's address, its rows, its BLAKE3."""

    name: str
    rows: int
    digest: str


class NetworkStore:
    """The files of one network, at a folder or at the address of an object store."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._fs, self._root = fsspec.core.url_to_fs(address)

    def write(self, operator: str, table: str, frame: pl.DataFrame) -> Written:
        """Keep a table of an operator."""
        out = io.BytesIO()
        frame.rechunk().write_parquet(
            out, compression="zstd", compression_level=1, statistics=False
        )
        content = out.getvalue()
        digest = blake3(content).hexdigest()
        written = Written(f"{_FILES}/{operator}/{table}-{digest[:20]}.parquet", len(frame), digest)
        if not self.is_whole(written):
            self._put(written.name, content)
        return written

    def read(self, written: Written) -> pl.DataFrame:
        """A table.

        Raises:
            StoreError: it is lost or was changed.
        """
        path = self._path(written.name)
        content = self._fs.cat_file(path) if self._fs.exists(path) else b""
        if blake3(content).hexdigest() != written.digest:
            raise StoreError(
                f"{written.name} of the network at {self.address} is lost or was changed. Hand the "
                f"records in again (ringland network hand-in), then work the week out again."
            )
        return pl.read_parquet(io.BytesIO(content))

    def is_whole(self, written: Written) -> bool:
        """Whether a file is there and holds the bytes that were written."""
        path = self._path(written.name)
        if not self._fs.exists(path):
            return False
        return blake3(self._fs.cat_file(path)).hexdigest() == written.digest

    def handed_in(self) -> dict[str, dict[str, Written]]:
        """The newest records of each operator, by operator and kind."""
        told = self._told(RECORDS) or {}
        return {one: files_in(kinds) for one, kinds in told.items()}

    def keep_records(self, records: Mapping[str, Mapping[str, Written]]) -> None:
        """Say which records count from now on."""
        self._put_told(RECORDS, records)

    def tell(self, operator: str, monday: str, asked: str, numbers: Mapping[str, float]) -> None:
        """Write down numbers in an operator's list before they leave it; each stands there once.

        Args:
            operator: whose they are.
            monday: the week they are of.
            asked: in which round of what, e.g. 'effects 3'.
            numbers: by name.
        """
        path = self._path(self.left(operator, monday))
        text = self._fs.cat_file(path).decode() if self._fs.exists(path) else ""
        rows = [tuple(row) for row in csv.reader(io.StringIO(text))] or [_TOLD]
        fresh = [(asked, name, repr(float(value))) for name, value in numbers.items()]
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(dict.fromkeys([*rows, *fresh]))
        self._put(self.left(operator, monday), out.getvalue().encode())

    def left(self, operator: str, monday: str) -> str:
        """The file that lists the numbers of a week that left an operator."""
        return f"{_FILES}/{operator}/left-{monday}.csv"

    def weeks(self) -> list[str]:
        """The Mondays worked out, e.g. '2026-08-17'."""
        return self._mondays(_WEEKS)

    def week(self, monday: str) -> dict[str, Any]:
        """The list of a week; empty where there is none."""
        return self._told(f"{_WEEKS}/{monday}.json") or {}

    def keep_week(self, monday: str, told: Mapping[str, Any]) -> None:
        """Say what a week was made from and made; the list before it counts no more."""
        self._put_told(f"{_WEEKS}/{monday}.json", told)

    def keep_own(self, operator: str, monday: str, told: Mapping[str, Any]) -> None:
        """Tell an operator, in its own folder, what its week was made from and made."""
        self._put_told(f"{_FILES}/{operator}/week-{monday}.json", told)

    def keep_share(self, operator: str, told: Mapping[str, Any]) -> None:
        """Say what an operator agreed to show; empty: nothing."""
        self._put_told(f"{_FILES}/{operator}/shown.json", told)

    def share(self, operator: str) -> dict[str, Any]:
        """What an operator agreed to show; empty: nothing."""
        return self._told(f"{_FILES}/{operator}/shown.json") or {}

    def mark_as_invented(self) -> None:
        """Say that records in this network are invented."""
        self._put(_INVENTED, b"")

    @property
    def is_invented(self) -> bool:
        """Whether records of an invented fleet were handed in."""
        return bool(self._fs.exists(self._path(_INVENTED)))

    def pools(self) -> list[str]:
        """The Mondays whose records gave shared effects."""
        return self._mondays(_POOLS)

    def pool(self, monday: str) -> dict[str, Any]:
        """The list of the effects shared on the records of a week; empty where there is none."""
        return self._told(f"{_POOLS}/{monday}.json") or {}

    def keep_pool(self, monday: str, told: Mapping[str, Any]) -> None:
        """Say what effects are shared on the records of a week, and from what."""
        self._put_told(f"{_POOLS}/{monday}.json", told)

    def sweep(self) -> list[str]:
        """Remove the files that no list names, half written ones among them; which they were."""
        counted = {one.name for kinds in self.handed_in().values() for one in kinds.values()}
        for monday in self.weeks():
            for one, made in self.week(monday)["operators"].items():
                counted.add(f"{_FILES}/{one}/week-{monday}.json")
                for part in (made["records"], made["lasting"]["tables"], made["turning"]):
                    counted |= {one.name for one in files_in(part).values()}
        for monday in self.pools():
            for made in self.pool(monday)["operators"].values():
                counted |= {Written(*made[part]).name for part in ("rows", "effects")}
        gone = []
        for path in sorted(self._fs.find(self._root)):
            name = path[len(self._root) :].lstrip("/")
            is_list = name.startswith((f"{_WEEKS}/", f"{_POOLS}/")) or bool(_OWN.fullmatch(name))
            is_kept = is_list or name in counted or name in (RECORDS, _LOCK, _INVENTED)
            if name.endswith(_PARTIAL) or not is_kept:
                self._fs.rm_file(path)
                gone.append(name)
        return gone

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else works in this network meanwhile; of an object store the users see to it.

        Raises:
            StoreError: somebody does.
        """
        if "file" not in self._fs.protocol:
            yield
            return
        self._fs.makedirs(self._root, exist_ok=True)
        try:
            with FileLock(self._path(_LOCK), timeout=0):
                yield
        except Timeout:
            raise StoreError(
                f"Another run works in the network at {self.address}. Wait until it is done."
            ) from None

    def _mondays(self, lists: str) -> list[str]:
        return sorted(Path(path).stem for path in self._fs.glob(self._path(f"{lists}/*.json")))

    def _told(self, name: str) -> dict[str, Any] | None:
        path = self._path(name)
        if not self._fs.exists(path):
            return None
        try:
            told: dict[str, Any] = json.loads(self._fs.cat_file(path))
        except ValueError as error:
            raise StoreError(
                f"{name} of the network at {self.address} cannot be read ({error}). Take it from "
                f"a backup, or remove it and hand the records in again."
            ) from error
        return told

    def _put_told(self, name: str, told: Mapping[str, Any]) -> None:
        text = json.dumps(told, ensure_ascii=False, indent=1, sort_keys=True)
        self._put(name, text.encode() + b"\n")

    def _put(self, name: str, content: bytes) -> None:
        path = self._path(name)
        partial = f"{path}.{uuid4().hex[:8]}{_PARTIAL}"
        self._fs.makedirs(path.rpartition("/")[0], exist_ok=True)
        with self._fs.open(partial, "wb") as file:
            file.write(content)
        self._rename(partial, path)

    def _rename(self, partial: str, path: str) -> None:
        if "file" in self._fs.protocol and Path(path).exists():
            # a list: where one is there already a move on Windows copies, which can be cut off
            put_in_place(Path(partial), Path(path))
        else:
            self._fs.mv(partial, path)

    def _path(self, name: str) -> str:
        return f"{self._root}/{name}"


def newest_by(mondays: Sequence[str], monday: str) -> str | None:
    """The newest of some Mondays no later than one; None: there is none."""
    return max((one for one in mondays if one <= monday), default=None)


def files_in(told: Mapping[str, Any]) -> dict[str, Written]:
    """The files a part of a list names."""
    return {name: Written(*of) for name, of in told.items()}
