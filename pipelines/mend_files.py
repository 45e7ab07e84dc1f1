"""The workbook of rows to mend in the home, which a mechanic may be at work in.

A workbook that was changed since it was written stays as it is until its bytes were loaded;
what is to be mended now is written beside it under the next free name.
"""

import re
from pathlib import Path

from pipelines.raw_store import digest_of, file_digest, whole_copy
from pipelines.whole_files import InUseError, write_whole

_HALF_WRITTEN = re.compile(r"(?:-\d+)?\.(?:csv|xlsx|sha256)\.\d+\.partial")
"""How what `write_whole` had not finished is called, after the book's own name."""
WRITTEN = "set-aside.sha256"
"""The hash of the workbook as it was last written, as `sha256sum -c` reads it."""


def write_mend_book(book: Path, raw_folder: Path, content: bytes) -> Path:
    """Write the workbook, beside those that are being mended; where it was written.

    Args:
        book: the place it is written to if nobody was at work there.
        raw_folder: the raw store, which holds each workbook that was loaded.
        content: the workbook.
    """
    _sweep(book)
    written = _written(book.parent)
    for number in range(1, 100):
        name = book.stem if number == 1 else f"{book.stem}-{number}"
        path = book.with_name(f"{name}{book.suffix}")
        if not path.exists() or _is_free(path, raw_folder, written):
            try:
                write_whole(path, content)
            except InUseError:  # open in a spreadsheet program, maybe not saved yet
                continue
            break
    for stale in book.parent.glob(f"{book.stem}-*{book.suffix}"):
        if stale != path and _is_free(stale, raw_folder, written):
            stale.unlink(missing_ok=True)
    line = f"{digest_of(content)}  {path.name}\n"
    write_whole(book.with_name(WRITTEN), line.encode())
    return path


def books_in_hand(book: Path, raw_folder: Path) -> list[Path]:
    """The workbooks that were changed by hand and are not loaded yet."""
    written = _written(book.parent)
    books = sorted(book.parent.glob(f"{book.stem}*{book.suffix}"))
    return [path for path in books if not _is_free(path, raw_folder, written)]


def _sweep(book: Path) -> None:
    """Remove what a load that was cut off left half written; nothing that a person named."""
    for left in book.parent.iterdir():
        if left.name.startswith(book.stem) and _HALF_WRITTEN.fullmatch(left.name[len(book.stem) :]):
            left.unlink(missing_ok=True)


def _is_free(path: Path, raw_folder: Path, written: str) -> bool:
    digest = file_digest(path)
    return digest == written or whole_copy(raw_folder, digest) is not None


def _written(folder: Path) -> str:
    path = folder / WRITTEN
    return path.read_text(encoding="utf-8").split(" ")[0] if path.exists() else ""
