"""Files written down after the first ones were mended against, again before they were read."""

from datetime import datetime

from tests.intake.file_cases.case import (
    DE,
    GB,
    IMP_GAL,
    US,
    US_GAL,
    FileCase,
    book,
    fill,
    meter,
    ride,
    text,
)
from tests.intake.held_out_cases.worlds import AU, FILLS, FR, HEAD, OUTSIDE, log

ONE, TWO, THREE = (
    "H01,07/14/2025 14:30,40.5",
    "H02,07/14/2025 15:10,38.2",
    "H03,07/15/2025 09:05,31.7",
)


def _labelled(**octane: list[float]) -> list:
    return [
        (kind, values | {name: figures[n] for name, figures in octane.items()})
        for n, (kind, values) in enumerate(FILLS)
    ]


SECOND = [
    log(
        "months in German words",
        [
            "Boot;Datum;Uhrzeit;Liter",
            "B01;14. Juli 2025;14:30;40,5",
            "B02;5. August 2025;09:05;38,2",
        ],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-08-05 09:05", 38.2)],
        world=DE,
        told=True,
    ),
    log(
        "years of two digits first",
        [HEAD, "H01,25-07-14 14:30,40.5", "H02,25-07-14 15:10,38.2", "H03,25-07-15 09:05,31.7"],
        FILLS,
        told=True,
    ),
    log(
        "a fill noted with its hour only",
        ["Craft,Date,Hour,Litres", "H01,07/14/2025,14,40.5", "H02,07/14/2025,15,38.2"],
        [fill(US, "H01", "2025-07-14 14:00", 40.5), fill(US, "H02", "2025-07-14 15:00", 38.2)],
        told=True,
    ),
    log(
        "the newest row first",
        [HEAD, THREE, TWO, ONE, "H03,06/30/2025 17:00,12.5", "H01,06/02/2025 17:00,22.5"],
        [
            *FILLS,
            fill(US, "H03", "2025-06-30 17:00", 12.5),
            fill(US, "H01", "2025-06-02 17:00", 22.5),
        ],
    ),
    log(
        "one craft after the other, each in order",
        [
            HEAD,
            *(
                f"H01,{m:02d}/{d:02d}/2025 09:00,20.5"
                for m, d in [(6, 3), (6, 20), (7, 4), (8, 11)]
            ),
            *(f"H02,{m:02d}/{d:02d}/2025 09:10,21.5" for m, d in [(6, 4), (7, 2), (8, 6), (8, 30)]),
        ],
        [
            *(
                fill(US, "H01", f"2025-{m:02d}-{d:02d} 09:00", 20.5)
                for m, d in [(6, 3), (6, 20), (7, 4), (8, 11)]
            ),
            *(
                fill(US, "H02", f"2025-{m:02d}-{d:02d} 09:10", 21.5)
                for m, d in [(6, 4), (7, 2), (8, 6), (8, 30)]
            ),
        ],
    ),
    log(
        "a meter read on the first of every month",
        [
            "Craft,Meter,Read,Meter hours",
            *(f"H01,M1,{m:02d}/01/2025 08:00,{100 + 10 * m}.5" for m in (5, 6, 7, 8, 9)),
            "H01,M1,09/15/2025 08:00,195.5",
        ],
        [
            *(meter(US, "H01", f"2025-{m:02d}-01 08:00", 100.5 + 10 * m) for m in (5, 6, 7, 8, 9)),
            meter(US, "H01", "2025-09-15 08:00", 195.5),
        ],
        file="hours.csv",
    ),
    log(
        "millilitres from a flow meter",
        ["Craft,Filled,Volume (ml)", "H01,07/14/2025 14:30,40500", "H02,07/14/2025 15:10,38200"],
        FILLS[:2],
        told=True,
    ),
    log(
        "pounds of fuel from a scale",
        ["Craft,Filled,Fuel (lb)", "H01,07/14/2025 14:30,65.5", "H02,07/14/2025 15:10,61.8"],
        FILLS[:2],
        told=True,
    ),
    log(
        "gallons with a fraction",
        ["Craft,Filled,Gallons", "H01,07/14/2025 14:30,10 1/2", "H02,07/14/2025 15:10,9"],
        [
            fill(US, "H01", "2025-07-14 14:30", 10.5 * US_GAL),
            fill(US, "H02", "2025-07-14 15:10", 9 * US_GAL),
        ],
        knows={"gallon": "US gal"},
        told=True,
    ),
    log(
        "imperial gallons in a British marina's invoice",
        [
            "Berth,Boat,Date,Gallons (Imp),Price per gal,Total",
            "4,B01,14/07/2025 14:30,9.0,6.80,61.20",
            "7,B02,15/07/2025 09:05,8.5,6.80,57.80",
        ],
        [
            fill(GB, "B01", "2025-07-14 14:30", 9 * IMP_GAL, price_per_l=6.8 / IMP_GAL),
            fill(GB, "B02", "2025-07-15 09:05", 8.5 * IMP_GAL, price_per_l=6.8 / IMP_GAL),
        ],
        world=GB,
        knows={"gallon": "imp gal"},
    ),
    log(
        "litres ordered and litres delivered",
        [
            "Dock,Delivered,Ordered (L),Delivered (L)",
            "north,07/14/2025 07:30,3000,2912",
            "south,07/21/2025 07:30,2000,2004",
        ],
        [
            (
                "deliveries",
                {"dock_id": dock, "delivered_at": US.utc(at), "volume_l": litres},
            )
            for dock, at, litres in [
                ("north", "2025-07-14 07:30", 2912),
                ("south", "2025-07-21 07:30", 2004),
            ]
        ],
        file="tanker.csv",
        knows={"columns": {"volume_l": "Delivered (L)", "delivered_at": "Delivered"}},
    ),
    log(
        "the level before, the level after and what went in",
        [
            "Craft,Filled,Level before (L),Level after (L),Added (L)",
            "H01,07/14/2025 14:30,20.0,60.5,40.5",
            "H02,07/14/2025 15:10,15.0,53.2,38.2",
        ],
        FILLS[:2],
        knows={"columns": {"volume_l": "Added (L)"}},
    ),
    log(
        "octane in a column, ethanol in the next",
        [f"{HEAD},Octane,Ethanol %", f"{ONE},91,10", f"{TWO},87,10", f"{THREE},93,0"],
        _labelled(octane_unlabelled=[91, 87, 93]),
    ),
    log(
        "what the pump says and what the owner says",
        [f"{HEAD},Grade,RON", f"{ONE},super,98", f"{TWO},plus,95", f"{THREE},super,98"],
        _labelled(octane_ron=[98, 95, 98]),
    ),
    log(
        "the tank was filled to the brim",
        [f"{HEAD},Full?", f"{ONE},Y", f"{TWO},N", f"{THREE},Y"],
        FILLS,
    ),
    log(
        "a temperature and a wind beside the ride",
        [
            "Craft,Out,In,Hours run,Air temp,Wind",
            "H01,07/14/2025 09:00,07/14/2025 10:00,0.8,31,12",
            "H02,07/14/2025 11:00,07/14/2025 12:00,0.9,32,14",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8),
            ride(US, "H02", "2025-07-14 11:00", "2025-07-14 12:00", 0.9),
        ],
        file="rentals.csv",
    ),
    log(
        "planned hours beside hours run",
        [
            "Craft,Out,In,Hours booked,Hours run",
            "H01,07/14/2025 09:00,07/14/2025 10:05,1,0.8",
            "H02,07/14/2025 11:00,07/14/2025 13:05,2,1.6",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:05", 0.8),
            ride(US, "H02", "2025-07-14 11:00", "2025-07-14 13:05", 1.6),
        ],
        file="rentals.csv",
    ),
    log(
        "the craft's name and the craft's number",
        [
            "Name,No.,Filled,Litres",
            "Red one,H01,07/14/2025 14:30,40.5",
            "Blue one,H02,07/14/2025 15:10,38.2",
        ],
        FILLS[:2],
    ),
    log(
        "training rides that burn fuel all the same",
        [
            "Craft,Out,In,Hours run,Type",
            "H01,07/14/2025 09:00,07/14/2025 10:00,0.8,rental",
            "H02,07/14/2025 11:00,07/14/2025 12:00,0.9,staff test",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8),
            ride(US, "H02", "2025-07-14 11:00", "2025-07-14 12:00", 0.9),
        ],
        file="rentals.csv",
    ),
    log(
        "rows struck out with a line of dashes",
        [HEAD, ONE, "----,----,----", TWO, THREE],
        FILLS,
    ),
    log(
        "a page number between the rows",
        [HEAD, ONE, "Page 2 of 3,,", TWO, THREE],
        FILLS,
    ),
    FileCase(
        "a copy of last year's sheet left in the book",
        {
            "fuel.xlsx": book(
                Fuel=[
                    ["Craft", "Filled", "Litres"],
                    ["H01", datetime(2025, 7, 14, 14, 30), 40.5],
                    ["H02", datetime(2025, 7, 14, 15, 10), 38.2],
                ],
                **{
                    "Fuel (2)": [
                        ["Craft", "Filled", "Litres"],
                        ["H01", datetime(2025, 7, 14, 14, 30), 40.5],
                        ["H02", datetime(2025, 7, 14, 15, 10), 38.2],
                    ]
                },
            )
        },
        FILLS[:2],
        knows=OUTSIDE,
    ),
    log(
        "a French list with the price of the whole",
        [
            "Jet;Date;Litres;Prix total",
            "J1;14/07/2025 14:30;40,5;74,93",
            "J2;15/07/2025 09:05;38,2;70,67",
        ],
        [fill(FR, "J1", "2025-07-14 14:30", 40.5), fill(FR, "J2", "2025-07-15 09:05", 38.2)],
        world=FR,
    ),
    FileCase(
        "another dock's clock in the file's own words",
        {
            "pump.csv": text(
                "# times are UTC",
                "Craft,Filled (UTC),Litres",
                "A1,14/07/2025 04:30,40.5",
                "A2,15/07/2025 05:10,38.2",
            )
        },
        [fill(AU, "A1", "2025-07-14 14:30", 40.5), fill(AU, "A2", "2025-07-15 15:10", 38.2)],
        world=AU,
        knows=OUTSIDE,
    ),
]
