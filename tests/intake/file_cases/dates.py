"""How a date is written: order, years, clocks, and files that contradict themselves."""

from datetime import datetime, timedelta

from tests.intake.file_cases.case import DE, US, FileCase, book, fill, ride, text

OUTSIDE = {"source": "outside"}
HEAD = "Craft,Filled,Litres"


def _case(name: str, lines: list[str], truth: list, **options: object) -> FileCase:
    knows = OUTSIDE | options.pop("knows", {})
    return FileCase(name, {"fuel log.csv": text(*lines)}, truth, knows=knows, **options)


_LATE_START = datetime(2025, 7, 1, 8)
_LATE = [_LATE_START + timedelta(minutes=13 * n) for n in range(620)] + [
    datetime(2025, 7, 13, 9, 7)
]

DATES = [
    _case(
        "month first, shown by the thirteenth",
        [HEAD, "H01,07/04/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
    _case(
        "day first, shown by the thirteenth",
        ["Boot;Getankt am;Liter", "B01;04/07/2025 14:30;40,5", "B02;13/07/2025 09:05;38,2"],
        [fill(DE, "B01", "2025-07-04 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.2)],
        world=DE,
    ),
    _case(
        "either order fits, month first",
        [HEAD, "H01,07/04/2025 14:30,40.5", "H02,07/05/2025 09:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-05 09:05", 38.2)],
        knows={"day_first": False},
    ),
    _case(
        "either order fits, day first",
        [HEAD, "B01,04/07/2025 14:30,40.5", "B02,05/07/2025 09:05,38.2"],
        [fill(DE, "B01", "2025-07-04 14:30", 40.5), fill(DE, "B02", "2025-07-05 09:05", 38.2)],
        world=DE,
        knows={"day_first": True},
    ),
    FileCase(
        "the order of one column is shown by another",
        {
            "rentals.csv": text(
                "Craft,Out,Returned,Hours run",
                "H01,07/04/2025 09:00,07/04/2025 10:00,0.8",
                "H02,07/12/2025 23:30,07/13/2025 00:30,0.9",
            )
        },
        [
            ride(US, "H01", "2025-07-04 09:00", "2025-07-04 10:00", 0.8),
            ride(US, "H02", "2025-07-12 23:30", "2025-07-13 00:30", 0.9),
        ],
    ),
    _case(
        "the order is shown only after 600 rows",
        [HEAD, *(f"H01,{at:%m/%d/%Y %H:%M},20" for at in _LATE)],
        [fill(US, "H01", f"{at:%Y-%m-%d %H:%M}", 20) for at in _LATE],
    ),
    _case(
        "both orders in one file",
        [HEAD, "H01,07/04/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2", "H03,13/07/2025 10:00,30"],
        [
            fill(US, "H01", "2025-07-04 14:30", 40.5),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
            fill(US, "H03", "2025-07-13 10:00", 30),
        ],
        knows={"day_first": False},
        told=True,
    ),
    FileCase(
        "a mapping of one order over a file of the other",
        {"pump.csv": text(HEAD, "H01,07/04/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2")},
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
        mapping="""
        [source]
        date_formats = ["%d/%m/%Y %H:%M"]
        time_zone = "America/Chicago"
        [[table]]
        kind = "fills"
        [table.columns]
        hull_id = "Craft"
        filled_at = "Filled"
        volume_l = "Litres"
        source = { value = "outside" }
        """,
        told=True,
    ),
    FileCase(
        "a mapping that lists both orders",
        {"pump.csv": text(HEAD, "H01,07/04/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2")},
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
        mapping="""
        [source]
        date_formats = ["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"]
        time_zone = "America/Chicago"
        [[table]]
        kind = "fills"
        [table.columns]
        hull_id = "Craft"
        filled_at = "Filled"
        volume_l = "Litres"
        source = { value = "outside" }
        """,
        told=True,
    ),
    _case(
        "years of two digits, month first",
        [HEAD, "H01,7/4/25 14:30,40.5", "H02,7/13/25 9:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
    _case(
        "years of two digits with dots",
        ["Boot;Datum;Liter", "B01;04.07.25 14:30;40,5", "B02;13.07.25 09:05;38,2"],
        [fill(DE, "B01", "2025-07-04 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.2)],
        world=DE,
    ),
    FileCase(
        "a mapping that says four digits over years of two",
        {"pump.csv": text(HEAD, "H01,07/14/25 14:30,40.5", "H02,07/13/25 09:05,38.2")},
        [fill(US, "H01", "2025-07-14 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
        mapping="""
        [source]
        date_formats = ["%m/%d/%Y %H:%M"]
        time_zone = "America/Chicago"
        [[table]]
        kind = "fills"
        [table.columns]
        hull_id = "Craft"
        filled_at = "Filled"
        volume_l = "Litres"
        source = { value = "outside" }
        """,
        told=True,
    ),
    _case(
        "year first without an offset",
        [HEAD, "H01,2025-07-04 14:30,40.5", "H02,2025-07-05 09:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-05 09:05", 38.2)],
    ),
    _case(
        "instants with their offset",
        [HEAD, "H01,2025-07-04T14:30:00-05:00,40.5", "H02,2025-07-05T14:05:00Z,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-05 09:05", 38.2)],
    ),
    _case(
        "a clock of twelve hours",
        [HEAD, "H01,7/14/2025 2:30 PM,40.5", "H02,7/13/2025 12:05 AM,38.2"],
        [fill(US, "H01", "2025-07-14 14:30", 40.5), fill(US, "H02", "2025-07-13 00:05", 38.2)],
    ),
    _case(
        "date and time of day apart",
        ["Craft,Date,Time,Litres", "H01,07/14/2025,14:30,40.5", "H02,07/13/2025,09:05,38.2"],
        [fill(US, "H01", "2025-07-14 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
    _case(
        "dates without a time of day",
        ["Craft,Date,Litres", "H01,07/14/2025,40.5", "H02,07/13/2025,38.2"],
        [fill(US, "H01", "2025-07-14 12:00", 40.5), fill(US, "H02", "2025-07-13 12:00", 38.2)],
        knows={"time_of_day": "12:00"},
    ),
    FileCase(
        "real dates of a spreadsheet",
        {
            "fuel.xlsx": book(
                Fuel=[
                    ["Craft", "Filled", "Litres"],
                    ["H01", datetime(2025, 7, 4, 14, 30), 40.5],
                    ["H02", datetime(2025, 7, 5, 9, 5), 38.2],
                ]
            )
        },
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-05 09:05", 38.2)],
        knows=OUTSIDE,
    ),
    _case(
        "day numbers of a spreadsheet",
        [HEAD, "H01,45842.5,40.5", "H02,45843.25,38.2"],
        [fill(US, "H01", "2025-07-04 12:00", 40.5), fill(US, "H02", "2025-07-05 06:00", 38.2)],
    ),
    FileCase(
        "a spreadsheet that turned the dates it could and left the others as text",
        {
            # written month first, opened where the day stands first: 07/04 became 7 April
            "fuel.xlsx": book(
                Fuel=[
                    ["Craft", "Filled", "Litres"],
                    ["H01", datetime(2025, 4, 7, 14, 30), 40.5],
                    ["H02", datetime(2025, 5, 7, 9, 5), 38.2],
                    ["H03", datetime(2025, 9, 7, 9, 5), 31.2],
                    ["H01", "07/13/2025 09:10", 30.0],
                    ["H02", "07/14/2025 09:10", 30.1],
                    ["H03", "07/25/2025 09:10", 30.2],
                ]
            )
        },
        [
            fill(US, "H01", "2025-07-04 14:30", 40.5),
            fill(US, "H02", "2025-07-05 09:05", 38.2),
            fill(US, "H03", "2025-07-09 09:05", 31.2),
            fill(US, "H01", "2025-07-13 09:10", 30.0),
            fill(US, "H02", "2025-07-14 09:10", 30.1),
            fill(US, "H03", "2025-07-25 09:10", 30.2),
        ],
        knows=OUTSIDE,
        told=True,
    ),
    _case(
        "months by name, day first",
        [HEAD, "H01,4 Jul 2025 14:30,40.5", "H02,13 Jul 2025 09:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
    _case(
        "months by name with a comma and twelve hours",
        [HEAD, 'H01,"Jul 4, 2025 2:30 PM",40.5', 'H02,"Jul 13, 2025 9:05 AM",38.2'],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
    _case(
        "day first with dots",
        ["Boot;Datum;Liter", "B01;04.07.2025 14:30;40,5", "B02;05.07.2025 09:05;38,2"],
        [fill(DE, "B01", "2025-07-04 14:30", 40.5), fill(DE, "B02", "2025-07-05 09:05", 38.2)],
        world=DE,
    ),
    _case(
        "eight digits and a time",
        ["Craft,Date,Time,Litres", "H01,20250704,14:30,40.5", "H02,20250713,09:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
    _case(
        "seconds since 1970",
        [HEAD, "H01,1751657400,40.5", "H02,1752415500,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
        told=True,
    ),
    FileCase(
        "the contract's form by the dock's clock",
        {
            "fills.csv": text(
                "hull_id,filled_at,volume_l,source",
                "H01,2025-07-04 14:30,40.5,outside",
                "H02,2025-07-05T09:05:00,38.2,outside",
            )
        },
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-05 09:05", 38.2)],
        contract=True,
    ),
    FileCase(
        "the contract's form in the hour that came twice",
        {
            "fills.csv": text(
                "hull_id,filled_at,volume_l,source",
                "H01,2025-11-02 01:30,40.5,outside",
                "H02,2025-11-02T09:05:00,38.2,outside",
            )
        },
        [fill(US, "H01", "2025-11-02 01:30", 40.5), fill(US, "H02", "2025-11-02 09:05", 38.2)],
        contract=True,
        told=True,
    ),
    _case(
        "times of day with a dot",
        ["Boot;Datum;Uhrzeit;Liter", "B01;04.07.2025;14.30;40,5", "B02;05.07.2025;09.05;38,2"],
        [fill(DE, "B01", "2025-07-04 14:30", 40.5), fill(DE, "B02", "2025-07-05 09:05", 38.2)],
        world=DE,
    ),
    _case(
        "a weekday before the date",
        [HEAD, "H01,Fri 07/04/2025 14:30,40.5", "H02,Sun 07/13/2025 09:05,38.2"],
        [fill(US, "H01", "2025-07-04 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)],
    ),
]
