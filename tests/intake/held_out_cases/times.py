"""Dates and clocks as people write them who never meant a program to read them."""

from datetime import datetime

from tests.intake.file_cases.case import DE, GB, US, FileCase, book, fill, ride, text
from tests.intake.held_out_cases.worlds import FILLS, FR, HEAD, OUTSIDE, log

TIMES = [
    log(
        "the day stands above its fills",
        [
            "Craft,Time,Litres",
            "Monday 07/14/2025,,",
            "H01,14:30,40.5",
            "H02,15:10,38.2",
            "Tuesday 07/15/2025,,",
            "H03,09:05,31.7",
        ],
        FILLS,
        told=True,
    ),
    log(
        "the day stands only beside its first fill",
        [
            "Date,Craft,Time,Litres",
            "07/14/2025,H01,14:30,40.5",
            ",H02,15:10,38.2",
            "07/15/2025,H03,09:05,31.7",
        ],
        FILLS,
        told=True,
    ),
    log(
        "ditto marks under craft and day",
        [
            "Date,Craft,Time,Litres",
            "07/14/2025,H01,14:30,40.5",
            "'',H02,15:10,38.2",
            "07/15/2025,H03,09:05,31.7",
            '"""",do.,11:20,12.5',
        ],
        [*FILLS, fill(US, "H03", "2025-07-15 11:20", 12.5)],
        told=True,
    ),
    log(
        "half past two as 2:30p",
        [
            HEAD,
            "H01,7/14/2025 2:30p,40.5",
            "H02,7/14/2025 3:10p,38.2",
            "H03,7/15/2025 9:05a,31.7",
        ],
        FILLS,
    ),
    log(
        "four digits of a clock without a mark",
        [
            "Craft,Date,Time,Litres",
            "H01,07/14/2025,1430,40.5",
            "H02,07/14/2025,1510,38.2",
            "H03,07/15/2025,0905,31.7",
        ],
        FILLS,
    ),
    log(
        "hours with an h",
        [
            "Jet;Date;Heure;Litres",
            "J1;14/07/2025;14h30;40,5",
            "J2;14/07/2025;15h10;38,2",
            "J3;15/07/2025;9h05;31,7",
        ],
        [
            fill(FR, "J1", "2025-07-14 14:30", 40.5),
            fill(FR, "J2", "2025-07-14 15:10", 38.2),
            fill(FR, "J3", "2025-07-15 09:05", 31.7),
        ],
        world=FR,
    ),
    log(
        "days without a year",
        [HEAD, "H01,Jul 14 14:30,40.5", "H02,Jul 14 15:10,38.2", "H03,Jul 15 09:05,31.7"],
        FILLS,
        told=True,
    ),
    log(
        "month and day in figures without a year",
        ["Craft,Date,Time,Litres", "H01,7/14,14:30,40.5", "H02,7/14,15:10,38.2"],
        FILLS[:2],
        told=True,
    ),
    log(
        "the zone's letters behind the time",
        [
            HEAD,
            "H01,07/14/2025 14:30 CDT,40.5",
            "H02,07/14/2025 15:10 CDT,38.2",
            "H03,07/15/2025 09:05 CDT,31.7",
        ],
        FILLS,
    ),
    log(
        "an offset without a colon",
        [
            HEAD,
            "H01,2025-07-14 14:30:00 -0500,40.5",
            "H02,2025-07-14 15:10:00 -0500,38.2",
            "H03,2025-07-15 09:05:00 -0500,31.7",
        ],
        FILLS,
    ),
    log(
        "midnight as 24:00",
        [HEAD, "H01,07/14/2025 14:30,40.5", "H02,07/14/2025 24:00,38.2"],
        [FILLS[0], fill(US, "H02", "2025-07-15 00:00", 38.2)],
        told=True,
    ),
    log(
        "the weekday settles which of day and month stands first",
        [HEAD, "B01,Fri 04/07/2025 14:30,40.5", "B02,Sat 05/07/2025 09:05,38.2"],
        [fill(GB, "B01", "2025-07-04 14:30", 40.5), fill(GB, "B02", "2025-07-05 09:05", 38.2)],
        world=GB,
        knows={"day_first": True},
    ),
    log(
        "short figures with dots",
        ["Boot;Datum;Uhrzeit;Liter", "B01;14.7.25;14:30;40,5", "B02;5.7.25;9:05;38,2"],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-07-05 09:05", 38.2)],
        world=DE,
    ),
    log(
        "day numbers of a spreadsheet beside dates as text",
        [
            HEAD,
            "H01,45842.5,40.5",
            "H02,07/13/2025 09:05,38.2",
            "H03,45843.25,31.7",
            "H01,07/14/2025 09:05,20.5",
        ],
        [
            fill(US, "H01", "2025-07-04 12:00", 40.5),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
            fill(US, "H03", "2025-07-05 06:00", 31.7),
            fill(US, "H01", "2025-07-14 09:05", 20.5),
        ],
        told=True,
    ),
    log(
        "two hands, each with its own order, in the first days of a month",
        [
            HEAD,
            "B01,01/07/2025 09:00,20.5",
            "B02,02/07/2025 09:10,21.5",
            "B03,07/03/2025 09:20,22.5",
            "B01,04/07/2025 09:30,23.5",
            "B02,07/05/2025 09:40,24.5",
            "B03,06/07/2025 09:50,25.5",
        ],
        [
            fill(GB, hull, f"2025-07-{day:02d} {clock}", litres)
            for day, hull, clock, litres in [
                (1, "B01", "09:00", 20.5),
                (2, "B02", "09:10", 21.5),
                (3, "B03", "09:20", 22.5),
                (4, "B01", "09:30", 23.5),
                (5, "B02", "09:40", 24.5),
                (6, "B03", "09:50", 25.5),
            ]
        ],
        world=GB,
        knows={"day_first": True},
        told=True,
    ),
    log(
        "a ride that comes back after midnight, its day written once",
        [
            "Craft,Date,Out,In,Hours run",
            "H01,07/13/2025,09:00,10:00,0.8",
            "H02,07/13/2025,23:30,00:40,0.9",
        ],
        [
            ride(US, "H01", "2025-07-13 09:00", "2025-07-13 10:00", 0.8),
            ride(US, "H02", "2025-07-13 23:30", "2025-07-14 00:40", 0.9),
        ],
        file="rentals.csv",
        told=True,
    ),
    FileCase(
        "a day and a clock as two real cells of a spreadsheet",
        {
            "fuel.xlsx": book(
                Fuel=[
                    ["Craft", "Date", "Time", "Litres"],
                    ["H01", datetime(2025, 7, 14), "2:30 PM", 40.5],
                    ["H02", datetime(2025, 7, 14), "3:10 PM", 38.2],
                    ["H03", datetime(2025, 7, 15), "9:05 AM", 31.7],
                ]
            )
        },
        FILLS,
        knows=OUTSIDE,
    ),
    FileCase(
        "the same fills exported by UTC and by the dock's clock",
        {
            "pump.csv": text(
                HEAD,
                "H01,07/14/2025 14:30,40.5",
                "H02,07/14/2025 15:10,38.2",
                "H03,07/15/2025 09:05,31.7",
            ),
            "cloud.csv": text(
                HEAD,
                "H01,07/14/2025 19:30,40.5",
                "H02,07/14/2025 20:10,38.2",
                "H03,07/15/2025 14:05,31.7",
            ),
        },
        FILLS,
        knows=OUTSIDE,
    ),
]
