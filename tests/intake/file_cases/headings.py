"""What people call a column, and cells that say more than the heading."""

from tests.intake.file_cases.case import DE, US, FileCase, fill, meter, ride, text

OUTSIDE = {"source": "outside"}
FILLS = [fill(US, "H01", "2025-07-14 14:30", 40.5), fill(US, "H02", "2025-07-13 09:05", 38.2)]


def _case(name: str, lines: list[str], truth: list, **options: object) -> FileCase:
    knows = OUTSIDE | options.pop("knows", {})
    file = str(options.pop("file", "fuel log.csv"))
    return FileCase(name, {file: text(*lines)}, truth, knows=knows, **options)


HEADINGS = [
    _case(
        "Spanish headings",
        ["Barco;Fecha;Litros", "B01;14/07/2025 14:30;40,5", "B02;13/07/2025 09:05;38,2"],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.2)],
        world=DE,
        file="combustible.csv",
    ),
    _case(
        "French headings",
        ["Bateau;Date du plein;Litres", "B01;14/07/2025 14:30;40,5", "B02;13/07/2025 09:05;38,2"],
        [fill(DE, "B01", "2025-07-14 14:30", 40.5), fill(DE, "B02", "2025-07-13 09:05", 38.2)],
        world=DE,
        file="pleins.csv",
    ),
    _case(
        "the hull under a heading nobody listed",
        ["Name,Filled,Litres", "H01,07/14/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2"],
        FILLS,
    ),
    _case(
        "a number sign in the heading",
        ["Ski #,Filled,Litres", "H01,07/14/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2"],
        FILLS,
    ),
    _case(
        "columns swapped under their headings",
        ["Craft,Filled,Litres", "40.5,07/14/2025 14:30,H01", "38.2,07/13/2025 09:05,H02"],
        FILLS,
        told=True,
    ),
    _case(
        "a dock named in its column",
        [
            "Craft,Filled,Litres,Dock",
            "H01,07/14/2025 14:30,40.5,north",
            "H02,07/13/2025 09:05,38.2,south",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, source_dock_id="north"),
            fill(US, "H02", "2025-07-13 09:05", 38.2, source_dock_id="south"),
        ],
        knows={"source": "dock"},
    ),
    _case(
        "filled at the shop's own dock",
        ["Craft,Filled,Litres", "H01,07/14/2025 14:30,40.5", "H02,07/13/2025 09:05,38.2"],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, source_dock_id="north"),
            fill(US, "H02", "2025-07-13 09:05", 38.2, source_dock_id="north"),
        ],
        knows={"source": "north"},
    ),
    _case(
        "hulls written carelessly",
        ["Craft,Filled,Litres", "h01,07/14/2025 14:30,40.5", "H 02,07/13/2025 09:05,38.2"],
        FILLS,
        told=True,
    ),
    FileCase(
        "an optional cell that cannot be read, in the contract's form",
        {
            "fills.csv": text(
                "hull_id,filled_at,volume_l,source,price_per_l",
                "H01,2025-07-14T19:30:00Z,40.5,outside,1.30",
                "H02,2025-07-13T14:05:00Z,38.2,outside,ask Bob",
            )
        },
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, price_per_l=1.3),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
        ],
        contract=True,
    ),
    _case(
        "an optional cell that cannot be read",
        [
            "Craft,Filled,Litres,Price per l",
            "H01,07/14/2025 14:30,40.5,1.30",
            "H02,07/13/2025 09:05,38.2,ask Bob",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, price_per_l=1.3),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
        ],
    ),
    FileCase(
        "an end that cannot be read is no cell to lose",
        {
            "installations.csv": text(
                "engine_id,hull_id,installed_at,removed_at",
                "E1,H01,2025-05-14T19:30:00Z,last week",
            )
        },
        [],
        contract=True,
        told=True,
    ),
    _case(
        "a needed cell that cannot be read",
        ["Craft,Filled,Litres", "H01,07/14/2025 14:30,40.5", "H02,07/13/2025 09:05,a lot"],
        FILLS[:1],
    ),
    _case(
        "a meter round with both meters",
        [
            "Craft,Meter,Read,Hours",
            "H01,M1,07/14/2025 18:00,130.2",
            "H02,M2,07/14/2025 18:05,88.4",
        ],
        [
            meter(US, "H01", "2025-07-14 18:00", 130.2),
            meter(US, "H02", "2025-07-14 18:05", 88.4),
        ],
        file="meter round.csv",
    ),
    _case(
        "a rental log in other words",
        [
            "Unit,Departed,Returned,Run hrs,Customer",
            "H01,07/14/2025 09:00,07/14/2025 10:00,0.8,A. Smith",
            "H02,07/13/2025 13:30,07/13/2025 14:30,0.9,R. Vane",
        ],
        [
            ride(US, "H01", "2025-07-14 09:00", "2025-07-14 10:00", 0.8),
            ride(US, "H02", "2025-07-13 13:30", "2025-07-13 14:30", 0.9),
        ],
        file="bookings.csv",
    ),
    _case(
        "meter hours before and after a ride are no hours run",
        [
            "Craft,Out,In,Hours out,Hours in",
            "H01,07/14/2025 09:00,07/14/2025 10:00,10.2,11.0",
            "H02,07/13/2025 13:30,07/13/2025 14:30,14.5,15.4",
        ],
        [],
        file="rentals.csv",
        told=True,
    ),
]
