"""How a figure is written: units, marks, money beside litres, hours and shares."""

from tests.intake.file_cases.case import (
    DE,
    GB,
    IMP_GAL,
    US,
    US_GAL,
    FileCase,
    fill,
    meter,
    ride,
    text,
)

OUTSIDE = {"source": "outside"}


def _case(name: str, lines: list[str], truth: list, **options: object) -> FileCase:
    knows = OUTSIDE | options.pop("knows", {})
    file = str(options.pop("file", "fuel log.csv"))
    return FileCase(name, {file: text(*lines)}, truth, knows=knows, **options)


_TWO = [("H01", "2025-07-14 14:30"), ("H02", "2025-07-13 09:05"), ("H03", "2025-07-15 10:00")]


def _fills(*litres: float, **others: list) -> list:
    return [
        fill(US, hull, at, volume, **{name: values[n] for name, values in others.items()})
        for n, ((hull, at), volume) in enumerate(zip(_TWO, litres, strict=False))
    ]


UNITS = [
    _case(
        "a column says gallons or litres",
        [
            "Craft,Filled,Quantity,UOM",
            "H01,07/14/2025 14:30,12.5,GAL",
            "H02,07/13/2025 09:05,38.2,LTR",
            "H03,07/15/2025 10:00,9.5,GAL",
        ],
        _fills(12.5 * US_GAL, 38.2, 9.5 * US_GAL),
        knows={"gallon": "US gal"},
    ),
    _case(
        "the unit stands behind each figure",
        [
            "Craft,Filled,Fuel",
            "H01,07/14/2025 14:30,12.5 gal",
            "H02,07/13/2025 09:05,38.2 L",
            "H03,07/15/2025 10:00,9.5 gal",
        ],
        _fills(12.5 * US_GAL, 38.2, 9.5 * US_GAL),
        knows={"gallon": "US gal"},
    ),
    _case(
        "some figures lack the unit that others have",
        [
            "Craft,Filled,Fuel",
            "H01,07/14/2025 14:30,12.5 gal",
            "H02,07/13/2025 09:05,38.2",
            "H03,07/15/2025 10:00,9.5 gal",
        ],
        _fills(12.5 * US_GAL, 38.2 * US_GAL, 9.5 * US_GAL),
        knows={"gallon": "US gal"},
        told=True,
    ),
    _case(
        "gallons in the heading",
        [
            "Craft,Filled,Gallons",
            "H01,07/14/2025 14:30,12.5",
            "H02,07/13/2025 09:05,10",
        ],
        _fills(12.5 * US_GAL, 10 * US_GAL),
        knows={"gallon": "US gal"},
    ),
    _case(
        "imperial gallons",
        ["Boat,Filled,Gallons", "B01,14/07/2025 14:30,8.5", "B02,13/07/2025 09:05,10"],
        [
            fill(GB, "B01", "2025-07-14 14:30", 8.5 * IMP_GAL),
            fill(GB, "B02", "2025-07-13 09:05", 10 * IMP_GAL),
        ],
        world=GB,
        knows={"gallon": "imp gal"},
    ),
    _case(
        "a price for each gallon",
        [
            "Craft,Filled,Gallons,Price/gal",
            "H01,07/14/2025 14:30,12.5,4.10",
            "H02,07/13/2025 09:05,10,4.25",
        ],
        _fills(12.5 * US_GAL, 10 * US_GAL, price_per_l=[4.10 / US_GAL, 4.25 / US_GAL]),
        knows={"gallon": "US gal"},
    ),
    _case(
        "a card export with quantity, unit price and amount",
        [
            "Craft,Transaction date,Quantity,Unit Price,Amount",
            "H01,07/14/2025 14:30,40.5,1.30,52.65",
            "H02,07/13/2025 09:05,38.2,1.25,47.75",
        ],
        _fills(40.5, 38.2, price_per_l=[1.30, 1.25]),
        knows={"litres": True},
    ),
    _case(
        "a card export whose amount stands first",
        [
            "Craft,Date time,Amount,Qty,PPU",
            "H01,07/14/2025 14:30,52.65,40.5,1.30",
            "H02,07/13/2025 09:05,47.75,38.2,1.25",
            "H03,07/15/2025 10:00,26.00,20,1.30",
        ],
        _fills(40.5, 38.2, 20, price_per_l=[1.30, 1.25, 1.30]),
        knows={"litres": True},
    ),
    _case(
        "only an amount in dollars",
        ["Craft,Filled,Amount", "H01,07/14/2025 14:30,$52.65", "H02,07/13/2025 09:05,$47.75"],
        [],
        told=True,
    ),
    _case(
        "only an amount without a sign",
        ["Craft,Filled,Amount", "H01,07/14/2025 14:30,52.65", "H02,07/13/2025 09:05,47.75"],
        [],
        told=True,
    ),
    _case(
        "dollars beside gallons",
        [
            "Craft,Filled,Gallons,Total $",
            "H01,07/14/2025 14:30,12.5,51.25",
            "H02,07/13/2025 09:05,10,42.50",
        ],
        _fills(12.5 * US_GAL, 10 * US_GAL),
        knows={"gallon": "US gal"},
    ),
    _case(
        "fuel dilution of oil samples is no fuel",
        [
            "Craft,Sampled,Fuel dilution %,Iron ppm",
            "H01,07/14/2025 14:30,1.5,12",
            "H02,07/13/2025 09:05,2.0,15",
        ],
        [],
        file="oil lab.csv",
        told=True,
    ),
    _case(
        "a fuel level before and after is no fill",
        [
            "Craft,Filled,Fuel before %,Fuel after %",
            "H01,07/14/2025 14:30,25,100",
            "H02,07/13/2025 09:05,30,95",
        ],
        [],
        told=True,
    ),
    _case(
        "decimal commas",
        ["Boot;Datum;Liter", "B01;14.07.2025 14:30;40,5", "B02;13.07.2025 09:05;38,25"],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.25)],
        world=DE,
    ),
    _case(
        "thousands with a comma",
        [
            "Craft,Meter,Read,Meter hours",
            'H01,M1,07/14/2025 14:30,"1,130.5"',
            "H02,M2,07/13/2025 09:05,988.2",
        ],
        [
            meter(US, "H01", "2025-07-14 14:30", 1130.5),
            meter(US, "H02", "2025-07-13 09:05", 988.2),
        ],
        file="meter readings.csv",
    ),
    _case(
        "a comma that may be either mark",
        [
            "Craft;Meter;Read;Meter hours",
            "B01;M1;14/07/2025 14:30;1,130",
            "B02;M2;13/07/2025 09:05;1,288",
        ],
        [
            meter(DE, "B01", "2025-07-14 14:30", 1130),
            meter(DE, "B02", "2025-07-13 09:05", 1288),
        ],
        file="meter readings.csv",
        world=DE,
        knows={"decimal": "."},
    ),
    _case(
        "full throttle in per cent",
        [
            "Craft,Out,In,Hours run,WOT %",
            "H01,07/14/2025 09:00,07/14/2025 10:00,0.8,35",
            "H02,07/13/2025 13:30,07/13/2025 14:30,0.9,20",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8, full_throttle_share=0.35),
            ride(US, "H02", "2025-07-13 13:30", "2025-07-13 14:30", 0.9, full_throttle_share=0.2),
        ],
        file="rentals.csv",
        knows={"percent": True},
    ),
    _case(
        "full throttle in per cent, none of them above one",
        [
            "Craft,Out,In,Hours run,WOT %",
            "H01,07/14/2025 09:00,07/14/2025 10:00,0.8,1",
            "H02,07/13/2025 13:30,07/13/2025 14:30,0.9,0",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8, full_throttle_share=0.01),
            ride(US, "H02", "2025-07-13 13:30", "2025-07-13 14:30", 0.9, full_throttle_share=0.0),
        ],
        file="rentals.csv",
        knows={"percent": True},
    ),
    _case(
        "hours and minutes run",
        [
            "Craft,Out,In,Run time",
            "H01,07/14/2025 09:00,07/14/2025 10:00,0:48",
            "H02,07/13/2025 13:30,07/13/2025 15:30,1:30",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8),
            ride(US, "H02", "2025-07-13 13:30", "2025-07-13 15:30", 1.5),
        ],
        file="rentals.csv",
    ),
    _case(
        "minutes run",
        [
            "Craft,Out,In,Run minutes",
            "H01,07/14/2025 09:00,07/14/2025 10:00,48",
            "H02,07/13/2025 13:30,07/13/2025 15:30,18",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8),
            ride(US, "H02", "2025-07-13 13:30", "2025-07-13 15:30", 0.3),
        ],
        file="rentals.csv",
        knows={"running_unit": "min"},
    ),
    _case(
        "the unit stands behind the hours of a meter",
        [
            "Craft,Meter,Read,Meter hours",
            "H01,M1,07/14/2025 14:30,130.5 h",
            "H02,M2,07/13/2025 09:05,88.2 h",
        ],
        [
            meter(US, "H01", "2025-07-14 14:30", 130.5),
            meter(US, "H02", "2025-07-13 09:05", 88.2),
        ],
        file="meter readings.csv",
    ),
    _case(
        "a unit code nobody knows",
        [
            "Craft,Filled,Quantity,UOM",
            "H01,07/14/2025 14:30,12.5,GL",
            "H02,07/13/2025 09:05,10,GL",
        ],
        _fills(12.5 * US_GAL, 10 * US_GAL),
        knows={"words": {"gl": "US gal"}},
    ),
    _case(
        "a tanker's slips in gallons",
        [
            "Dock,Delivered,Gallons,AKI,Price per gallon",
            "north,07/14/2025 07:30,1000,91,3.60",
            "north,07/29/2025 07:30,800,93,3.90",
        ],
        [
            (
                "deliveries",
                {
                    "dock_id": "north",
                    "delivered_at": US.utc("2025-07-14 07:30"),
                    "volume_l": 1000 * US_GAL,
                    "octane_aki": 91,
                    "price_per_l": 3.60 / US_GAL,
                },
            ),
            (
                "deliveries",
                {
                    "dock_id": "north",
                    "delivered_at": US.utc("2025-07-29 07:30"),
                    "volume_l": 800 * US_GAL,
                    "octane_aki": 93,
                    "price_per_l": 3.90 / US_GAL,
                },
            ),
        ],
        file="tanker deliveries.csv",
        knows={"gallon": "US gal"},
    ),
    _case(
        "prices with a sign before the figure",
        [
            "Craft,Filled,Litres,Price per l",
            "H01,07/14/2025 14:30,40.5,$1.30",
            "H02,07/13/2025 09:05,38.2,$1.25",
        ],
        _fills(40.5, 38.2, price_per_l=[1.30, 1.25]),
    ),
]
