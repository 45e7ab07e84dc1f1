"""Rows that are no record, and files of another make: cancelled, snacks, sheets per craft."""

from tests.intake.file_cases.case import US, US_GAL, FileCase, book, fill, ride, text
from tests.intake.held_out_cases.worlds import FILLS, HEAD, OUTSIDE, log

ONE, TWO, THREE = (
    "H01,07/14/2025 14:30,40.5",
    "H02,07/14/2025 15:10,38.2",
    "H03,07/15/2025 09:05,31.7",
)
_RIDES = [
    ride(US, "H01", "2025-07-14 09:05", "2025-07-14 10:02", 0.8),
    ride(US, "H02", "2025-07-14 11:10", "2025-07-14 12:04", 0.7),
]


def _sheet(*rows: str) -> list[list[str]]:
    return [row.split(",") for row in rows]


ROWS = [
    log(
        "a card was declined",
        [
            f"{HEAD},Status",
            f"{ONE},Approved",
            "H02,07/14/2025 15:08,38.2,Declined",
            f"{TWO},Approved",
            f"{THREE},Approved",
        ],
        FILLS,
        told=True,
    ),
    log(
        "a sale taken back in a row of its own without a sign",
        [
            f"{HEAD},Type",
            f"{ONE},SALE",
            f"{TWO},SALE",
            "H02,07/14/2025 15:20,38.2,REVERSAL",
            f"{THREE},SALE",
        ],
        [FILLS[0], FILLS[2]],
        told=True,
    ),
    log(
        "snacks on the card beside the fuel",
        [
            "Craft,Date,Product,Quantity,Unit Price,Amount",
            "H01,07/14/2025 14:30,UNLEADED,10.5,4.00,42.00",
            "H01,07/14/2025 14:31,SODA,2,1.50,3.00",
            "H02,07/14/2025 15:10,UNLEADED,9.5,4.00,38.00",
            "H03,07/15/2025 09:05,ICE 10LB,1,3.99,3.99",
            "H03,07/15/2025 09:06,UNLEADED,8.2,4.00,32.80",
        ],
        [
            fill(US, hull, at, gallons * US_GAL, price_per_l=4 / US_GAL)
            for hull, at, gallons in [
                ("H01", "2025-07-14 14:30", 10.5),
                ("H02", "2025-07-14 15:10", 9.5),
                ("H03", "2025-07-15 09:06", 8.2),
            ]
        ],
        knows={
            "gallon": "US gal",
            "words": {"unleaded": "", "soda": "no fuel", "ice 10lb": "no fuel"},
        },
        file="card export.csv",
        told=True,
    ),
    log(
        "a note says that the row is a mistake",
        [
            f"{HEAD},Notes",
            f"{ONE},",
            "H02,07/14/2025 15:00,83.2,typo - ignore, see below",
            f"{TWO},correct one",
            f"{THREE},",
        ],
        FILLS,
        told=True,
    ),
    log(
        "bookings that nobody came for",
        [
            "Craft,Out,In,Hours run,Status",
            "H01,07/14/2025 09:05,07/14/2025 10:02,0.8,Returned",
            "H03,07/14/2025 09:00,07/14/2025 10:00,1.0,No show",
            "H02,07/14/2025 11:10,07/14/2025 12:04,0.7,Returned",
        ],
        _RIDES,
        file="rentals.csv",
        told=True,
    ),
    log(
        "booked times beside the true ones",
        [
            "Craft,Booked start,Booked end,Actual out,Actual in,Engine hours",
            "H01,07/14/2025 09:00,07/14/2025 10:00,07/14/2025 09:05,07/14/2025 10:02,0.8",
            "H02,07/14/2025 11:00,07/14/2025 12:00,07/14/2025 11:10,07/14/2025 12:04,0.7",
        ],
        _RIDES,
        file="rentals.csv",
        knows={"columns": {"started_at": "Actual out", "ended_at": "Actual in"}},
    ),
    log(
        "the guest's name and telephone beside the ride",
        [
            "Guest,Phone,Craft,Out,In,Hrs",
            "A. Guest,3125550101,H01,07/14/2025 09:05,07/14/2025 10:02,0.8",
            "B. Guest,3125550102,H02,07/14/2025 11:10,07/14/2025 12:04,0.7",
        ],
        _RIDES,
        file="rentals.csv",
        knows={"running_unit": "h"},
    ),
    log(
        "one fill shared by two craft",
        [HEAD, ONE, "H02/H03,07/14/2025 15:10,38.2"],
        [FILLS[0]],
        told=True,
    ),
    log(
        "days on which nothing was put in",
        [HEAD, ONE, "H02,07/14/2025 15:00,0", TWO, THREE],
        FILLS,
    ),
    FileCase(
        "a sheet for each craft, the craft only in the sheet's name",
        {
            "fuel.xlsx": book(
                H01=_sheet("Filled,Litres", "07/14/2025 14:30,40.5"),
                H02=_sheet("Filled,Litres", "07/14/2025 15:10,38.2"),
                H03=_sheet("Filled,Litres", "07/15/2025 09:05,31.7"),
            )
        },
        FILLS,
        knows=OUTSIDE,
        told=True,
    ),
    FileCase(
        "the craft only in the file's name",
        {"H01 fuel.csv": text("Filled,Litres", "07/14/2025 14:30,40.5", "07/15/2025 14:30,20.5")},
        [FILLS[0], fill(US, "H01", "2025-07-15 14:30", 20.5)],
        knows=OUTSIDE,
        told=True,
    ),
    log(
        "who printed it and when below the rows",
        [HEAD, ONE, TWO, THREE, "", "Printed 07/31/2025 08:00 by the dock office"],
        FILLS,
    ),
    log(
        "lines of remarks before the headings",
        ["# export of dock pump", "# made 07/31/2025", HEAD, ONE, TWO, THREE],
        FILLS,
    ),
    log(
        "a note of two lines in one cell",
        [f"{HEAD},Notes", f'{ONE},"spilled', 'a little"', f"{TWO},", f"{THREE},"],
        FILLS,
    ),
    log(
        "tabs and two bytes a letter",
        [line.replace(",", "\t") for line in (HEAD, ONE, TWO, THREE)],
        FILLS,
        file="fuel log.txt",
        encoding="utf-16",
    ),
    FileCase(
        "a page of the web with the name of a workbook",
        {
            "fuel.xls": text(
                "<html><body><table><tr><td>Craft</td><td>Filled</td><td>Litres</td></tr>",
                "<tr><td>H01</td><td>07/14/2025 14:30</td><td>40.5</td></tr>",
                "</table></body></html>",
            )
        },
        [FILLS[0]],
        knows=OUTSIDE,
        told=True,
    ),
    FileCase(
        "a later export that begins with what an earlier one held, with seconds",
        {
            "june.csv": text(HEAD, ONE, TWO),
            "july.csv": text(
                HEAD,
                "H01,07/14/2025 14:30:00,40.5",
                "H02,07/14/2025 15:10:00,38.2",
                "H03,07/15/2025 09:05:00,31.7",
            ),
        },
        FILLS,
        knows=OUTSIDE,
    ),
    FileCase(
        "a later export that rounds what an earlier one held",
        {
            "pump.csv": text(HEAD, "H01,07/14/2025 14:30,40.48", "H02,07/14/2025 15:10,38.23"),
            "book.csv": text(HEAD, "H01,07/14/2025 14:30,40.5", "H02,07/14/2025 15:10,38.2"),
        },
        [
            fill(US, "H01", "2025-07-14 14:30", 40.48),
            fill(US, "H02", "2025-07-14 15:10", 38.23),
        ],
        knows=OUTSIDE,
    ),
    log(
        "fuel put in and fuel taken out in two columns",
        [
            "Craft,Date,Fuel in (L),Fuel out (L)",
            "H01,07/14/2025 14:30,40.5,",
            "H02,07/14/2025 15:00,,12.5",
            "H02,07/14/2025 15:10,38.2,",
        ],
        FILLS[:2],
        told=True,
    ),
    FileCase(
        "a stick in inches for the dock's tank",
        {
            "dips.csv": text(
                "Dock,Date,Stick reading (in)",
                "north,07/14/2025 07:00,31.5",
                "north,07/15/2025 07:00,27.25",
            )
        },
        [],
        knows={},
        told=True,
    ),
    log(
        "cylinders across in a compression test",
        [
            "Engine,Date,Cyl 1,Cyl 2,Cyl 3",
            "E1,07/14/2025 10:00,150,152,148",
            "E2,07/15/2025 10:00,149,151,120",
        ],
        [],
        file="compression psi.csv",
        told=True,
    ),
]
