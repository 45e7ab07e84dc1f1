"""The shops whose files are held out, and what most of their files begin with."""

from tests.intake.file_cases.case import US, FileCase, Row, World, fill, text

AU = World("Australia/Brisbane", "AU", ("jetty",), ("A1", "A2", "A3"))
FR = World("Europe/Paris", "FR", ("quai",), ("J1", "J2", "J3"))
NUMBERED = World("America/New_York", "US", ("north",), ("101", "102", "103"))

OUTSIDE = {"source": "outside"}
HEAD = "Craft,Filled,Litres"
FILLS = [
    fill(US, "H01", "2025-07-14 14:30", 40.5),
    fill(US, "H02", "2025-07-14 15:10", 38.2),
    fill(US, "H03", "2025-07-15 09:05", 31.7),
]


def log(name: str, lines: list[str], truth: list[Row], **options: object) -> FileCase:
    """A fuel log, or a file of another name, as one text file."""
    knows = OUTSIDE | options.pop("knows", {})
    file = str(options.pop("file", "fuel log.csv"))
    encoding = str(options.pop("encoding", "utf-8"))
    return FileCase(name, {file: text(*lines, encoding=encoding)}, truth, knows=knows, **options)
