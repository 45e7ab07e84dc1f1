"""Where the rows stand: titles, totals, second tables, sheets, marks between cells."""

from datetime import datetime

from tests.intake.file_cases.case import DE, US, FileCase, book, fill, meter, ods, text

OUTSIDE = {"source": "outside"}
HEAD = "Craft,Filled,Litres"
ONE, TWO = "H01,07/14/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2"
FILLS = [fill(US, "H01", "2025-07-14 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)]
METERS = [
    meter(US, "H01", "2025-07-14 18:00", 130.2),
    meter(US, "H02", "2025-07-14 18:05", 88.4),
]
METER_ROWS = [["H01", "M1", "07/14/2025 18:00", "130.2"], ["H02", "M2", "07/14/2025 18:05", "88.4"]]
METER_HEAD = ["Craft", "Meter", "Read", "Meter hours"]
FUEL_ROWS = [row.split(",") for row in (HEAD, ONE, TWO)]


def _case(name: str, lines: list[str], truth: list, **options: object) -> FileCase:
    file = str(options.pop("file", "fuel log.csv"))
    encoding = str(options.pop("encoding", "utf-8"))
    return FileCase(name, {file: text(*lines, encoding=encoding)}, truth, knows=OUTSIDE, **options)


def _book(name: str, truth: list, content: bytes, **options: object) -> FileCase:
    file = str(options.pop("file", "log.xlsx"))
    return FileCase(name, {file: content}, truth, knows=OUTSIDE, **options)


FUEL_MAPPING = """
[source]
date_formats = ["%m/%d/%Y %H:%M"]
time_zone = "America/Chicago"
[[table]]
kind = "fills"
sheet = "June"
[table.columns]
hull_id = "Craft"
filled_at = "Filled"
volume_l = "Litres"
source = { value = "outside" }
"""
_CONTRACT = [
    ["hull_id", "filled_at", "volume_l", "source"],
    ["H01", "2025-07-14T19:30:00Z", "40.5", "outside"],
]
_CONTRACT_2 = [
    ["hull_id", "filled_at", "volume_l", "source"],
    ["H02", "2025-07-13T14:05:00Z", "38.2", "outside"],
]

TABLES = [
    _case(
        "a second table below the first, parted by a blank row",
        [
            "Craft,Filled,Litres,",
            f"{ONE},",
            f"{TWO},",
            ",,,",
            ",".join(METER_HEAD),
            *(",".join(row) for row in METER_ROWS),
        ],
        [*FILLS, *METERS],
    ),
    _case(
        "a second table below the first, with no blank row",
        [
            "Craft,Filled,Litres,",
            f"{ONE},",
            f"{TWO},",
            ",".join(METER_HEAD),
            *(",".join(row) for row in METER_ROWS),
        ],
        [*FILLS, *METERS],
    ),
    _case(
        "a second table of another width",
        [HEAD, ONE, TWO, "", ",".join(METER_HEAD), *(",".join(row) for row in METER_ROWS)],
        [*FILLS, *METERS],
    ),
    _book(
        "a second table below the first in a workbook",
        [*FILLS, *METERS],
        book(Log=[*FUEL_ROWS, [], METER_HEAD, *METER_ROWS]),
    ),
    FileCase(
        "a second table below one of the contract's form",
        {
            "fills.csv": text(
                "hull_id,filled_at,volume_l,source",
                "H01,2025-07-14T19:30:00Z,40.5,outside",
                "hull_id,read_at,meter_h,meter_id",
                "H02,2025-07-13T14:05:00Z,38.2,outside",
            )
        },
        [fill(US, "H01", "2025-07-14 14:30", 40.5)],
        contract=True,
        told=True,
    ),
    FileCase(
        "a mapped file that gained a second table",
        {
            "fuel.csv": text(
                "Craft,Filled,Litres,",
                f"{ONE},",
                ",,,",
                "Craft,Read,Meter hours,",
                "H01,07/14/2025 18:00,130.2,",
            )
        },
        [FILLS[0], METERS[0]],
        mapping=FUEL_MAPPING,
        told=True,
    ),
    _case(
        "headings that come again on every page",
        [HEAD, ONE, HEAD, TWO],
        FILLS,
    ),
    FileCase(
        "headings that come again in the contract's form",
        {
            "fills.csv": text(
                "hull_id,filled_at,volume_l,source",
                "H01,2025-07-14T19:30:00Z,40.5,outside",
                "hull_id,filled_at,volume_l,source",
                "H02,2025-07-13T14:05:00Z,38.2,outside",
            )
        },
        FILLS,
        contract=True,
    ),
    _case("a total below the rows", [HEAD, ONE, TWO, "Total,,78.7"], FILLS),
    _case(
        "totals between the rows",
        [HEAD, ONE, "H01 total,,40.5", TWO, "H02 total,,38.2"],
        FILLS,
    ),
    _case("a title above the headings", ["Fuel log summer,,", ",,", HEAD, ONE, TWO], FILLS),
    _book(
        "a workbook with a sheet for each month",
        FILLS,
        book(June=FUEL_ROWS[:2], July=[FUEL_ROWS[0], FUEL_ROWS[2]]),
    ),
    _book(
        "a mapped workbook that gained a sheet",
        FILLS,
        book(June=FUEL_ROWS[:2], July=[FUEL_ROWS[0], FUEL_ROWS[2]]),
        mapping=FUEL_MAPPING,
        told=True,
    ),
    _book(
        "a contract's workbook with two sheets",
        FILLS,
        book(June=_CONTRACT, July=_CONTRACT_2),
        file="fills.xlsx",
        contract=True,
    ),
    _book(
        "a contract's workbook with a sheet of another form",
        FILLS,
        book(June=_CONTRACT, July=[FUEL_ROWS[0], FUEL_ROWS[2]]),
        file="fills.xlsx",
        contract=True,
        told=True,
    ),
    _book(
        "fills on one sheet and meters on another",
        [*FILLS, *METERS],
        book(Fuel=FUEL_ROWS, Meters=[METER_HEAD, *METER_ROWS]),
    ),
    _book(
        "a sheet of addresses beside the fills",
        FILLS,
        book(
            Fuel=FUEL_ROWS,
            Staff=[["Name", "Telephone"], ["A. Smith", "555 0100"], ["R. Vane", "555 0101"]],
        ),
    ),
    _book(
        "two tables side by side",
        [*FILLS, *METERS],
        book(
            Log=[
                [*FUEL_ROWS[0], None, *METER_HEAD],
                [*FUEL_ROWS[1], None, *METER_ROWS[1]],
                [*FUEL_ROWS[2], None, *METER_ROWS[0]],
            ]
        ),
        told=True,
    ),
    _book(
        "headings in two rows, the upper merged",
        FILLS,
        book(
            Fuel=[
                ["Craft", None, "Fuel"],
                ["no", "filled", "litres"],
                *FUEL_ROWS[1:],
            ]
        ),
    ),
    _case(
        "units in a row of their own below the headings",
        ["Craft,Filled,Fuel", ",,l", ONE, TWO],
        FILLS,
    ),
    _case("notes below the rows", [HEAD, ONE, TWO, ",,", "* estimated by eye,,"], FILLS),
    _book(
        "hulls across and days down",
        [],
        book(
            Fuel=[
                ["Day", "H01", "H02", "H03"],
                ["07/14/2025", 40.5, None, 20],
                ["07/15/2025", None, 38.2, None],
            ]
        ),
        told=True,
    ),
    _case(
        "a running number in a first column without a name",
        [",Craft,Filled,Litres", f"1,{ONE}", f"2,{TWO}"],
        FILLS,
    ),
    _case(
        "a first line that names the mark",
        ["sep=;", "Craft;Filled;Litres", ONE.replace(",", ";"), TWO.replace(",", ";")],
        FILLS,
    ),
    _case(
        "tabs", [line.replace(",", "\t") for line in (HEAD, ONE, TWO)], FILLS, file="fuel log.txt"
    ),
    _case(
        "bars", [line.replace(",", "|") for line in (HEAD, ONE, TWO)], FILLS, file="fuel log.txt"
    ),
    _case(
        "UTF-16",
        [line.replace(",", "\t") for line in (HEAD, ONE, TWO)],
        FILLS,
        file="fuel log.txt",
        encoding="utf-16",
    ),
    _case(
        "an older encoding",
        [
            "Boot;Datum;Liter;Prüfer",
            "B01;14.07.2025 14:30;40,5;Jörg",
            "B02;13.07.2025 09:05;38,2;Jörg",
        ],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.2)],
        world=DE,
        encoding="cp1252",
    ),
    _book("an .ods workbook", FILLS, ods(Fuel=FUEL_ROWS), file="fuel.ods"),
    _book(
        "an .ods workbook of the contract's form",
        FILLS[:1],
        ods(fills=_CONTRACT),
        file="fills.ods",
        contract=True,
    ),
    _book(
        "an empty sheet first",
        FILLS,
        book(
            Sheet1=[],
            Fuel=[
                FUEL_ROWS[0],
                ["H01", datetime(2025, 7, 14, 14, 30), 40.5],
                ["H02", datetime(2025, 7, 13, 9, 5), 38.2],
            ],
        ),
    ),
    _case(
        "fills and rides in one list, told by a word",
        [
            "Type,Craft,Date time,Litres,Hours",
            "Fuel,H01,07/14/2025 14:30,40.5,",
            "Ride,H01,07/14/2025 16:00,,0.8",
            "Fuel,H02,07/13/2025 09:05,38.2,",
        ],
        FILLS,
        told=True,
    ),
]
