"""The journal: every entry a phone was told is kept, on the disk before it was told so.

One file that only grows, a line an entry.  One server at a time writes it; whoever takes it in
reads as far as its last whole line, so that leaving the server off loses nothing.
"""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType

from filelock import FileLock, Timeout

from pipelines.duckdb_warehouse import WarehouseError
from pipelines.home import JOURNAL
from pipelines.whole_files import sync_folder
from ringland.dockside.entries import StampedEntry
from ringland.dockside.journal_lines import journal_line, read_line

_LOCK = "journal.lock"


class Journal:
    """The journal of a home, held by this process until it is closed."""

    def __init__(self, folder: Path) -> None:
        """Open it, without what an entry that was cut off in writing left at its end.

        Raises:
            WarehouseError: another dockside server holds it.
        """
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.path = folder / JOURNAL
        self._lock = FileLock(folder / _LOCK)
        try:
            self._lock.acquire(timeout=0)
        except Timeout as error:
            raise WarehouseError(
                f"Another dockside server is at work on {folder}. Stop that one first."
            ) from error
        self._mend()
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
            self._file.write(b"".join(map(journal_line, entries)))
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError:
            self._file.close()
            self._mend()
            raise
        self._ids.update(one.entry.id for one in entries)

    def close(self) -> None:
        """Let another server have it."""
        self._file.close()
        self._lock.release()

    def _mend(self) -> None:
        self._ids = {one.entry.id for one in read_journal(self.path)}
        self._file = self.path.open("ab")
        whole = end_of_lines(self.path)
        if whole < self.path.stat().st_size:  # never acknowledged
            self._file.truncate(whole)
            os.fsync(self._file.fileno())


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
