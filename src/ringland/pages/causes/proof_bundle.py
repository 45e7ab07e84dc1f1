"""One failure's evidence as one folder that anyone can verify with standard commands.

The report as a PDF made to PDF/A-2b, the record rows it rests on with file, row and hash, the
photos as they came, the fuel of the last tanks, the limits and the table used, and a manifest
in the form that `sha256sum -c` reads.  No other engine is named: where a record's own words
do, they are blacked out and the read-me says so.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl
from PIL import ExifTags, Image, UnidentifiedImageError

from ringland.pages.causes import proof_words as said
from ringland.pages.causes.cause_pages import cause_pdf
from ringland.reports.cause_report import CauseReport
from ringland.words.number_words import instant_text

ARCHIVE = "a-2b"
"""PDF/A-2b, ISO 19005-2: the typesetter keeps it, and the tests ask an independent validator."""
MANIFEST = "manifest.sha256"


@dataclass(frozen=True)
class ProofRecords:
    """What lies behind one report."""

    rows: Mapping[str, pl.DataFrame]
    """Rows of this engine and its hull by record kind, with source_file and source_row."""
    fuel: pl.DataFrame
    """`SessionExposure` of its last tanks."""
    limits: Mapping[str, str]
    """File name -> text of the limits and tables used."""
    photos: Mapping[str, bytes]
    """The photo files that its teardowns and evidence name."""
    file_hashes: Mapping[str, str]
    """SHA-256 of every file taken in, by its name."""
    others: Collection[str]
    """Serials of all other engines on record: none may be named."""


def proof_bundle(report: CauseReport, records: ProofRecords, paper: str = "a4") -> dict[str, bytes]:
    """Every file of the bundle by its path, the manifest last.

    Args:
        report: the cause report of the failure.
        records: what lies behind it.
        paper: 'a4' or 'us-letter'.
    """
    hide = _blackener(records.others)
    clean = _without_others(report, hide)
    files: dict[str, bytes] = {"report.pdf": cause_pdf(clean, paper, (ARCHIVE,))}
    for kind, rows in sorted(records.rows.items()):
        if rows.height:
            files[f"records/{kind}.csv"] = hide(_with_hashes(rows, records)).encode()
    files["fuel/last-tanks.csv"] = hide(_csv(records.fuel)).encode()
    for name, text in sorted(records.limits.items()):
        files[f"limits/{name}"] = hide(text).encode()
    places = _places([*named_photos(records.rows), *sorted(records.photos)])
    shown = _photo_rows(records, places)
    for name, content in sorted(records.photos.items()):
        files[f"photos/{places[name]}"] = content
    files["photos.csv"] = hide(_csv(shown)).encode()
    files["README.txt"] = _read_me(clean, files, records).encode()
    files[MANIFEST] = manifest(files).encode()
    return files


def manifest(files: Mapping[str, bytes]) -> str:
    """The files' SHA-256 in the form `sha256sum -c` and `shasum -a 256 -c` read."""
    hashes = {name: hashlib.sha256(files[name]).hexdigest() for name in sorted(files)}
    return "".join(f"{digest}  {name}\n" for name, digest in hashes.items())


class _Blackener:
    """Texts without the serials of other engines; counts what it took out."""

    def __init__(self, serials: Collection[str]) -> None:
        ids = sorted({one for one in serials if one}, key=len, reverse=True)
        joined = "|".join(re.escape(one) for one in ids)
        self._pattern = re.compile(rf"(?<![A-Za-z0-9])(?:{joined})(?![A-Za-z0-9])") if ids else None
        self.hidden = 0

    def __call__(self, text: str) -> str:
        if self._pattern is None:
            return text
        hidden, count = self._pattern.subn(said.ANOTHER_ENGINE, text)
        self.hidden += count
        return hidden


LEAST_DIGITS = 5
"""A serial of fewer digits and nothing else would black out every figure it happens to equal."""


def _blackener(serials: Collection[str]) -> _Blackener:
    return _Blackener([one for one in serials if _can_be_hidden(one)])


def _can_be_hidden(serial: str) -> bool:
    return not serial.isdecimal() or len(serial) >= LEAST_DIGITS


def _without_others(report: CauseReport, hide: _Blackener) -> CauseReport:
    def clean(value: Any) -> Any:
        if isinstance(value, str):
            return hide(value)
        if isinstance(value, tuple):
            return tuple(clean(one) for one in value)
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            return dataclasses.replace(
                value,
                **{f.name: clean(getattr(value, f.name)) for f in dataclasses.fields(value)},
            )
        return value

    cleaned: CauseReport = clean(report)
    return cleaned


def _with_hashes(rows: pl.DataFrame, records: ProofRecords) -> str:
    hashes = [records.file_hashes.get(name, "") for name in rows["source_file"]]
    return _csv(rows.with_columns(pl.Series("source_sha256", hashes, pl.String)))


def _csv(rows: pl.DataFrame) -> str:
    return rows.with_columns(
        pl.col(pl.Datetime).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
        if rows.select(pl.col(pl.Datetime)).width
        else []
    ).write_csv()


def _photo_rows(records: ProofRecords, places: Mapping[str, str]) -> pl.DataFrame:
    """Each photo with its hash, the findings and cylinders it belongs to, and its own clock."""
    told: dict[str, list[str]] = {}
    for row in _rows(records, "teardowns"):
        for name in _names(row["photo_files"]):
            place = f" (cylinder {row['cylinder']})" if row["cylinder"] else ""
            told.setdefault(name, []).append(f"{row['part']}: {row['finding']}{place}")
    for row in _rows(records, "evidence"):
        if row["kind"] == "photo":
            place = f" (cylinder {row['cylinder']})" if row["cylinder"] else ""
            told.setdefault(row["item"], []).append(f"{row['about'] or ''}{place}")
    rows = [
        (
            places[name],
            hashlib.sha256(records.photos[name]).hexdigest() if name in records.photos else "",
            "; ".join(dict.fromkeys(shows)),
            captured_at(records.photos[name]) if name in records.photos else said.NOT_GIVEN,
        )
        for name, shows in sorted(told.items())
    ]
    columns = ["file", "sha256", "shows", "captured_at_by_the_camera"]
    return pl.DataFrame(rows, schema=dict.fromkeys(columns, pl.String), orient="row")


def captured_at(content: bytes) -> str:
    """What the camera wrote as the time of capture (its own clock), or that it wrote none."""
    try:
        with Image.open(io.BytesIO(content), formats=("JPEG", "PNG")) as image:
            exif = image.getexif()
            inner = exif.get_ifd(ExifTags.IFD.Exif)
            told = inner.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime)
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError):
        return said.NO_PICTURE  # Pillow tells a damaged file in all of these ways
    return str(told) if told else said.NO_CAPTURE_TIME


def _rows(records: ProofRecords, kind: str) -> list[dict[str, Any]]:
    return records.rows[kind].to_dicts() if kind in records.rows else []


def _names(cell: str | None) -> list[str]:
    return [name.strip() for name in (cell or "").split(";") if name.strip()]


def named_photos(rows: Mapping[str, pl.DataFrame]) -> tuple[str, ...]:
    """The photo files that teardown and evidence rows name."""
    named = [
        name
        for cell in (rows["teardowns"]["photo_files"] if "teardowns" in rows else [])
        for name in _names(cell)
    ]
    if "evidence" in rows:
        named += rows["evidence"].filter(pl.col("kind") == "photo")["item"].to_list()
    return tuple(dict.fromkeys(named))


def _places(names: Sequence[str]) -> dict[str, str]:
    """A file name for each photo; no two alike, on systems that take a for A either."""
    taken: set[str] = set()
    places: dict[str, str] = {}
    for name in dict.fromkeys(names):
        stem, dot, ending = _plain(name).rpartition(".")
        place, number = _plain(name), 1
        while place.lower() in taken:
            number += 1
            place = f"{stem}-{number}{dot}{ending}" if dot else f"{ending}-{number}"
        taken.add(place.lower())
        places[name] = place
    return places


def _plain(name: str) -> str:
    """A file name without a folder in it."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name.replace("\\", "/").rpartition("/")[2]) or "photo"


def _read_me(report: CauseReport, files: Sequence[str] | Mapping[str, bytes],
             records: ProofRecords) -> str:  # fmt: skip
    missing = [name for name in named_photos(records.rows) if name not in records.photos]
    lines = [
        said.READ_ME.format(
            title=report.title, as_of=instant_text(report.as_of), manifest=MANIFEST
        ),
        *(f"  {name}" for name in sorted(files)),
        "",
        *([said.PHOTOS_MISSING.format(names=", ".join(missing))] if missing else []),
        *([said.SHORT_SERIALS] if not all(map(_can_be_hidden, records.others)) else []),
        *([said.DEMO] if report.is_demo else []),
    ]
    return "\n".join(lines) + "\n"


def bundle_folder(engine_id: str, found_at: datetime) -> str:
    """A folder's name for a bundle, safe on every system."""
    letters = re.sub(r"[^A-Za-z0-9]+", "-", engine_id).strip("-") or "engine"
    return f"{letters}-{found_at:%Y-%m-%d}"
