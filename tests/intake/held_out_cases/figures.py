"""Figures, units and grades as they stand on slips, invoices and boards."""

from tests.intake.file_cases.case import (
    DE,
    GB,
    US,
    US_GAL,
    FileCase,
    book,
    fill,
    meter,
    ride,
)
from tests.intake.held_out_cases.worlds import AU, FILLS, FR, HEAD, NUMBERED, OUTSIDE, log

_AT = ["07/14/2025 14:30", "07/14/2025 15:10", "07/15/2025 09:05"]
_HULLS = ["H01", "H02", "H03"]


def _delivery(world, dock: str, local: str, litres: float, **others: object):
    values = {"dock_id": dock, "delivered_at": world.utc(local), "volume_l": litres}
    return ("deliveries", values | others)


def _gallons(*figures: float) -> list:
    days = ["2025-07-14 14:30", "2025-07-14 15:10", "2025-07-15 09:05"]
    return [
        fill(US, hull, at, figure * US_GAL)
        for hull, at, figure in zip(_HULLS, days, figures, strict=False)
    ]


FIGURES = [
    log(
        "thousands with a dot and decimals with a comma on a tanker's slips",
        [
            "Steg;Geliefert am;Liter;Preis je Liter",
            "kai;14.07.2025 07:30;1.250,5;1,689",
            "kai;21.07.2025 07:40;2.000,0;1,709",
        ],
        [
            _delivery(DE, "kai", "2025-07-14 07:30", 1250.5, price_per_l=1.689),
            _delivery(DE, "kai", "2025-07-21 07:40", 2000, price_per_l=1.709),
        ],
        world=DE,
        file="tanker.csv",
    ),
    log(
        "thousands with an apostrophe",
        ["Dock,Delivered,Litres", "north,07/14/2025 07:30,1'250.5", "south,07/21/2025 07:40,2'000"],
        [
            _delivery(US, "north", "2025-07-14 07:30", 1250.5),
            _delivery(US, "south", "2025-07-21 07:40", 2000),
        ],
        file="tanker.csv",
        told=True,
    ),
    log(
        "about forty",
        [HEAD, f"H01,{_AT[0]},~40", f"H02,{_AT[1]},38.2", f"H03,{_AT[2]},31.7"],
        [fill(US, "H01", "2025-07-14 14:30", 40), *FILLS[1:]],
        told=True,
    ),
    log(
        "two cans added up in the cell",
        [HEAD, f"H01,{_AT[0]},20.5+20", f"H02,{_AT[1]},38.2", f"H03,{_AT[2]},31.7"],
        FILLS,
        told=True,
    ),
    log(
        "quarters of a tank for litres",
        ["Craft,Filled,Fuel added", f"H01,{_AT[0]},1/2", f"H02,{_AT[1]},3/4"],
        [fill(US, "H01", "2025-07-14 14:30", 35), fill(US, "H02", "2025-07-14 15:10", 52.5)],
        told=True,
    ),
    log(
        "the same volume in gallons and in litres",
        [
            "Craft,Filled,Gallons,Litres",
            f"H01,{_AT[0]},10.70,40.5",
            f"H02,{_AT[1]},10.09,38.2",
            f"H03,{_AT[2]},8.37,31.7",
        ],
        FILLS,
        knows={"columns": {"volume_l": "Litres"}},
    ),
    log(
        "gallons in one column or litres in the other",
        [
            "Craft,Filled,Gallons,Litres",
            f"H01,{_AT[0]},10.5,",
            f"H02,{_AT[1]},,38.2",
            f"H03,{_AT[2]},9.5,",
        ],
        [*_gallons(10.5), FILLS[1], fill(US, "H03", "2025-07-15 09:05", 9.5 * US_GAL)],
        knows={"gallon": "US gal"},
        told=True,
    ),
    log(
        "the pump's counter before and after beside the gallons",
        [
            "Craft,Filled,Meter start,Meter end,Gallons",
            f"H01,{_AT[0]},10230.0,10240.5,10.5",
            f"H02,{_AT[1]},10240.5,10250.0,9.5",
            f"H03,{_AT[2]},10250.0,10258.2,8.2",
        ],
        _gallons(10.5, 9.5, 8.2),
        knows={"gallon": "US gal"},
    ),
    log(
        "only the pump's counter before and after",
        [
            "Craft,Filled,Start gal,End gal",
            f"H01,{_AT[0]},10230.0,10240.5",
            f"H02,{_AT[1]},10240.5,10250.0",
        ],
        _gallons(10.5, 9.5),
        knows={"gallon": "US gal"},
        told=True,
    ),
    log(
        "pence for a litre",
        [
            "Boat,Filled,Litres,Price p/l",
            "B01,14/07/2025 14:30,40.5,132.9",
            "B02,13/07/2025 09:05,38.2,134.9",
        ],
        [
            fill(GB, "B01", "2025-07-14 14:30", 40.5, price_per_l=1.329),
            fill(GB, "B02", "2025-07-13 09:05", 38.2, price_per_l=1.349),
        ],
        world=GB,
        told=True,
    ),
    log(
        "an amount with the euro behind it beside the litres",
        [
            "Boot;Getankt;Liter;Betrag",
            "B01;14.07.2025 14:30;40,5;68,40 €",
            "B02;13.07.2025 09:05;38,2;64,52 €",
        ],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.2)],
        world=DE,
    ),
    log(
        "a title says that all is in gallons",
        [
            "Dock fuel - all quantities in gallons,,",
            "Craft,Filled,Qty",
            f"H01,{_AT[0]},10.5",
            f"H02,{_AT[1]},9.5",
            f"H03,{_AT[2]},8.2",
        ],
        _gallons(10.5, 9.5, 8.2),
        knows={"gallon": "US gal"},
    ),
    FileCase(
        "gallons until June and litres from July on another sheet",
        {
            "fuel.xlsx": book(
                June=[["Craft", "Filled", "Gal"], ["H01", "06/14/2025 14:30", 10.5]],
                July=[["Craft", "Filled", "Ltrs."], ["H02", "07/14/2025 15:10", 38.2]],
            )
        },
        [fill(US, "H01", "2025-06-14 14:30", 10.5 * US_GAL), FILLS[1]],
        knows=OUTSIDE | {"gallon": "US gal"},
    ),
    log(
        "oil in quarts beside fuel in gallons",
        [
            "Craft,Date,Time,Gas (gal),Oil (qt)",
            "H01,07/14/2025,14:30,10.5,0.5",
            "H02,07/14/2025,15:10,9.5,",
            "H03,07/15/2025,09:05,8.2,1",
        ],
        _gallons(10.5, 9.5, 8.2),
        knows={"gallon": "US gal"},
    ),
    log(
        "minutes on the engine",
        [
            "Craft,Out,In,Engine minutes",
            "H01,07/14/2025 09:00,07/14/2025 10:00,48",
            "H02,07/14/2025 11:00,07/14/2025 12:00,54",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8),
            ride(US, "H02", "2025-07-14 11:00", "2025-07-14 12:00", 0.9),
        ],
        file="rentals.csv",
        knows={"running_unit": "min"},
    ),
    log(
        "a counter of hours that shows minutes behind a colon",
        [
            "Craft,Meter,Read,Hour meter",
            "H01,M1,07/14/2025 18:00,130:12",
            "H02,M2,07/14/2025 18:05,88:24",
        ],
        [meter(US, "H01", "2025-07-14 18:00", 130.2), meter(US, "H02", "2025-07-14 18:05", 88.4)],
        file="hours.csv",
    ),
    FileCase(
        "crafts by bare numbers in a spreadsheet",
        {
            "fuel.xlsx": book(
                Fuel=[
                    ["Ski", "Filled", "Gallons"],
                    [101, "07/14/2025 14:30", 10.5],
                    [103, "07/14/2025 15:10", 9.5],
                ]
            )
        },
        [
            fill(NUMBERED, "101", "2025-07-14 14:30", 10.5 * US_GAL),
            fill(NUMBERED, "103", "2025-07-14 15:10", 9.5 * US_GAL),
        ],
        world=NUMBERED,
        knows=OUTSIDE | {"gallon": "US gal"},
    ),
    log(
        "octane by the German scale's letters",
        [
            "Boot;Getankt;Liter;Sorte",
            "B01;14.07.2025 14:30;40,5;ROZ 98",
            "B02;13.07.2025 09:05;38,2;ROZ 95",
        ],
        [
            fill(DE, "B01", "2025-07-14 14:30", 40.5, octane_ron=98),
            fill(DE, "B02", "2025-07-13 09:05", 38.2, octane_ron=95),
        ],
        world=DE,
        knows={"words": {"roz 98": "98 RON", "roz 95": "95 RON"}},
    ),
    log(
        "names of a French pump",
        [
            "Jet;Date;Litres;Carburant",
            "J1;14/07/2025 14:30;40,5;SP98",
            "J2;13/07/2025 09:05;38,2;SP95-E10",
        ],
        [
            fill(FR, "J1", "2025-07-14 14:30", 40.5, octane_ron=98),
            fill(FR, "J2", "2025-07-13 09:05", 38.2, octane_ron=95),
        ],
        world=FR,
        knows={"words": {"sp98": "98 RON", "sp95-e10": "95 RON"}},
    ),
    log(
        "the label of an American pump",
        [
            "Craft,Filled,Litres,Octane (R+M)/2",
            f"H01,{_AT[0]},40.5,91",
            f"H02,{_AT[1]},38.2,87",
            f"H03,{_AT[2]},31.7,93",
        ],
        [(k, v | {"octane_aki": aki}) for (k, v), aki in zip(FILLS, (91, 87, 93), strict=True)],
    ),
    log(
        "the pump's buttons for grades",
        [
            "Craft,Filled,Litres,Grade",
            f"H01,{_AT[0]},40.5,3",
            f"H02,{_AT[1]},38.2,1",
            f"H03,{_AT[2]},31.7,3",
        ],
        [(k, v | {"octane_aki": aki}) for (k, v), aki in zip(FILLS, (93, 87, 93), strict=True)],
        knows={"words": {"3": "93 AKI", "1": "87 AKI"}},
    ),
    log(
        "an Australian invoice with tax",
        [
            "Site,Delivered,Product,Qty (L),Unit price,GST,Total",
            "jetty,14/07/2025 07:30,ULP 95,1500,1.85,277.50,3052.50",
            "jetty,21/07/2025 07:30,ULP 91,1200,1.65,198.00,2178.00",
        ],
        [
            _delivery(AU, "jetty", "2025-07-14 07:30", 1500, price_per_l=1.85, octane_ron=95),
            _delivery(AU, "jetty", "2025-07-21 07:30", 1200, price_per_l=1.65, octane_ron=91),
        ],
        world=AU,
        file="fuel invoices.csv",
        knows={"words": {"ulp 95": "95 RON", "ulp 91": "91 RON"}},
    ),
]
