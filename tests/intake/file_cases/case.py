"""What a file case is, and the small files it is made of."""

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

import xlsxwriter

Values = Mapping[str, object]
Row = tuple[str, dict[str, object]]
"""A record that the files truly hold: its kind and its values; an instant is UTC."""

US_GAL, IMP_GAL = 3.785411784, 4.54609
"""Litres: NIST SP 811 and the UK Units of Measurement Regulations 1995, the latter from memory."""


@dataclass(frozen=True)
class World:
    """What the shop has on record."""

    zone: str
    country: str
    docks: tuple[str, ...]
    hulls: tuple[str, ...]

    @property
    def known(self) -> dict[str, list[str]]:
        """The ids on record by kind."""
        return {
            "docks": list(self.docks),
            "hulls": list(self.hulls),
            "engines": ["E1", "E2", "E3"],
        }

    def utc(self, local: str) -> datetime:
        """The instant of a clock time there."""
        at = datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(self.zone))
        return at.astimezone(ZoneInfo("UTC"))


US = World("America/Chicago", "US", ("north", "south"), ("H01", "H02", "H03", "H04"))
DE = World("Europe/Berlin", "DE", ("kai",), ("B01", "B02", "B03"))
GB = World("Europe/London", "GB", ("quay",), ("B01", "B02", "B03"))


@dataclass(frozen=True)
class FileCase:
    """One or several files, loaded in this order; see the package."""

    name: str
    files: Mapping[str, bytes]
    truth: Sequence[Row]
    world: World = US
    knows: Values = field(default_factory=dict)
    """What the owner would answer: 'day_first', 'gallon', 'time_of_day', 'source' (a dock or
    'outside'), 'decimal', 'percent', 'kind', 'words' (word -> meaning), 'columns' (column of
    the contract -> heading, or ('value', text))."""
    mapping: str | None = None
    """A mapping written before the file changed; no draft is made."""
    contract: bool = False
    """The files are in the contract's own form, their kind told by their name."""
    told: bool = False
    """It cannot be read right without more than three answers: to be set aside or asked."""


def fill(world: World, hull: str, local: str, litres: float, **others: object) -> Row:
    """A true fill."""
    values = {"hull_id": hull, "filled_at": world.utc(local), "volume_l": litres}
    return ("fills", values | others)


def meter(world: World, hull: str, local: str, hours: float) -> Row:
    """A true reading of an hour meter."""
    return ("hour_readings", {"hull_id": hull, "read_at": world.utc(local), "meter_h": hours})


def ride(world: World, hull: str, start: str, end: str, hours: float, **others: object) -> Row:
    """A true rental."""
    values = {
        "hull_id": hull,
        "started_at": world.utc(start),
        "ended_at": world.utc(end),
        "running_h": hours,
    }
    return ("sessions", values | others)


def text(*lines: str, encoding: str = "utf-8") -> bytes:
    """A text file of these lines."""
    return ("\n".join(lines) + "\n").encode(encoding)


def book(**sheets: Sequence[Sequence[object]]) -> bytes:
    """An .xlsx of these sheets; dates are real dates of a spreadsheet."""
    content = io.BytesIO()
    made = xlsxwriter.Workbook(content, {"in_memory": True})
    day = made.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    for name, rows in sheets.items():
        sheet = made.add_worksheet(name)
        for number, row in enumerate(rows):
            for at, cell in enumerate(row):
                if isinstance(cell, datetime):
                    sheet.write_datetime(number, at, cell, day)
                elif isinstance(cell, str):
                    sheet.write_string(number, at, cell)
                elif cell is not None:
                    sheet.write(number, at, cell)
    made.close()
    return content.getvalue()


_ODS_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.2">'
    "<office:body><office:spreadsheet>"
)


_MANIFEST = (
    '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest manifest:version="1.2" '
    'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"><manifest:file-entry '
    'manifest:full-path="/" '
    'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>'
)


def ods(**sheets: Sequence[Sequence[str]]) -> bytes:
    """An .ods of these sheets, every cell text (OpenDocument 1.2, part 1)."""
    parts = [_ODS_HEAD]
    for name, rows in sheets.items():
        parts.append(f'<table:table table:name="{name}">')
        for row in rows:
            cells = "".join(
                f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p>'
                "</table:table-cell>"
                for cell in row
            )
            parts.append(f"<table:table-row>{cells}</table:table-row>")
        parts.append("</table:table>")
    parts.append("</office:spreadsheet></office:body></office:document-content>")
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as made:
        made.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        made.writestr("content.xml", "".join(parts))
        made.writestr("META-INF/manifest.xml", _MANIFEST)
    return content.getvalue()
