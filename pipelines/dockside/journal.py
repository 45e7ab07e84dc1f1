"""The journal: every entry a phone was told is kept, on the disk before it was told so.

A file that only grows, a line an entry, and a second one of the same lines: what one has lost
the other has.  One server at a time writes them; whoever takes the journal in reads the first as
far as its last whole line, so that leaving the server off loses nothing.
"""

import os
from collections.abc import Iterator, Sequence
from contextlib import suppress
from io import BufferedWriter
from pathlib import Path
from types import TracebackType

from filelock import FileLock, Timeout

from pipelines.duckdb_warehouse import WarehouseError
from pipelines.home import JOURNAL
from pipelines.whole_files import set_apart, sync_folder, write_whole
from ringland.dockside.entries import StampedEntry
from ringland.dockside.journal_lines import journal_line, read_line

SECOND = "journal-second.jsonl"
_LOCK = "journal.lock"


class Journal:
    """The journal of a home, held by this process until it is closed."""

    def __init__(self, folder: Path) -> None:
        """Open it, each of its files with what it had lost and the other has.

        What an entry that was cut off in writing left at its end goes.

        Raises:
            WarehouseError: another dockside server holds it.
        """
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.path, self._second_path = folder / JOURNAL, folder / SECOND
        self._lock = FileLock(folder / _LOCK)
        try:
            self._lock.acquire(timeout=0)
        except Timeout as error:
            raise WarehouseError(
                f"Another dockside server is at work on {folder}. Stop that one first."
            ) from error
        mended = _together(folder)
        for path in (self.path, self._second_path):
            if path.exists() and damaged_lines(path):
                set_apart(path)
            if _content(path) != mended:
                write_whole(path, mended)
        self._open()
        sync_folder(folder)

    def __enter__(self) -> "Journal":
        """Hold it for a block."""
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _: TracebackType | None,
    ) -> None:
        """Let go of it."""
        self.close()

    def knows(self, entry_id: str) -> bool:
        """Whether it holds an entry of this id."""
        return entry_id in self._ids

    def append(self, entries: Sequence[StampedEntry]) -> None:
        """Write entries; they are on the disk when this returns, all together.

        Raises:
            OSError: the disk takes no more; some of them may be kept all the same, and are then
                known when they are sent again.
        """
        try:
            for file in (self._file, self._second):
                file.write(b"".join(map(journal_line, entries)))
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            self._close()
            self._open()
            raise
        self._ids.update(one.entry.id for one in entries)

    def close(self) -> None:
        """Let another server have it."""
        self._close()
        self._lock.release()

    def _open(self) -> None:
        self._ids = {one.entry.id for one in read_journal(self.path)}
        self._file, self._second = _opened(self.path), _opened(self._second_path)

    def _close(self) -> None:
        for file in (self._file, self._second):
            with suppress(OSError):  # what could not be written was not acknowledged
                file.close()


def _opened(path: Path) -> BufferedWriter:
    file, whole = path.open("ab"), end_of_lines(path)
    if whole < path.stat().st_size:  # never acknowledged
        file.truncate(whole)
        os.fsync(file.fileno())
    return file


def lines_of_both(kept: bytes, other: bytes) -> bytes:
    """One copy of the journal with the lines that only another has.

    Of the other, a line that says nothing stays only where `kept` has none in its place.
    """
    lines, more = kept.splitlines(keepends=True), other.splitlines(keepends=True)
    known = set(lines)
    return kept + b"".join(
        line
        for number, line in enumerate(more)
        if line not in known and (number >= len(lines) or read_line(line) is not None)
    )


def lost_of_journal(folder: Path) -> list[str]:
    """Files of the journal that have lost a line that the other has, by name."""
    mended, second = _together(folder), _content(folder / SECOND)
    lost = [JOURNAL] if _content(folder / JOURNAL) != mended else []
    # a second that is only shorter is an older ringland's, or a server's that was killed
    return lost if mended.startswith(second) else [*lost, SECOND]


def _together(folder: Path) -> bytes:
    first, second = folder / JOURNAL, folder / SECOND
    if first.exists() and damaged_lines(first):
        first, second = second, first
    return lines_of_both(_content(first), _content(second))


def _content(path: Path) -> bytes:
    return path.read_bytes()[: end_of_lines(path)] if path.exists() else b""


def read_journal(path: Path, begin: int = 0, end: int | None = None) -> Iterator[StampedEntry]:
    """The entries between two places of the journal; a line that was changed says nothing."""
    if not path.exists():
        return
    with path.open("rb") as file:
        file.seek(begin)
        for line in file:
            begin += len(line)
            if not line.endswith(b"\n") or (end is not None and begin > end):
                return
            read = read_line(line)
            if read is not None:
                yield read


def end_of_lines(path: Path) -> int:
    """Where the last whole line of a file ends."""
    if not path.exists():
        return 0
    with path.open("rb") as file:
        end = file.seek(0, os.SEEK_END)
        while end:
            begin = max(0, end - (1 << 16))
            file.seek(begin)
            found = file.read(end - begin).rfind(b"\n")
            if found >= 0:
                return begin + found + 1
            end = begin
    return 0


def damaged_lines(path: Path) -> list[int]:
    """The numbers of the lines that say nothing, in a journal that is there."""
    with path.open("rb") as file:
        return [
            number
            for number, line in enumerate(file, start=1)
            if line.endswith(b"\n") and read_line(line) is None
        ]
