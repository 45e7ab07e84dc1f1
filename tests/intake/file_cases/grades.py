"""What people write of octane and ethanol, and words that only look like it."""

from tests.intake.file_cases.case import DE, US, FileCase, fill, text

OUTSIDE = {"source": "outside"}


def _case(name: str, lines: list[str], truth: list, **options: object) -> FileCase:
    knows = OUTSIDE | options.pop("knows", {})
    return FileCase(name, {"fuel log.csv": text(*lines)}, truth, knows=knows, **options)


GRADES = [
    _case(
        "a number with its scale",
        [
            "Boot;Datum;Liter;Sorte",
            "B01;14.07.2025 14:30;40,5;95 RON",
            "B02;13.07.2025 09:05;38,2;98 RON",
        ],
        [
            fill(DE, "B01", "2025-07-14 14:30", 40.5, octane_ron=95),
            fill(DE, "B02", "2025-07-13 09:05", 38.2, octane_ron=98),
        ],
        world=DE,
    ),
    _case(
        "words of a pump",
        [
            "Craft,Filled,Litres,Grade",
            "H01,07/14/2025 14:30,40.5,premium",
            "H02,07/13/2025 09:05,38.2,regular",
            "H03,07/15/2025 09:05,30,premium",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_aki=93),
            fill(US, "H02", "2025-07-13 09:05", 38.2, octane_aki=87),
            fill(US, "H03", "2025-07-15 09:05", 30, octane_aki=93),
        ],
        knows={"words": {"premium": "93 AKI", "regular": "87 AKI"}},
    ),
    _case(
        "a word, a number and ethanol in one cell",
        [
            "Craft,Filled,Litres,Fuel type",
            "H01,07/14/2025 14:30,40.5,regular 87 E10",
            "H02,07/13/2025 09:05,38.2,premium 93 E10",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_unlabelled=87),
            fill(US, "H02", "2025-07-13 09:05", 38.2, octane_unlabelled=93),
        ],
        knows={"words": {"regular 87 e10": "87 E10", "premium 93 e10": "93 E10"}},
    ),
    _case(
        "a mixture of ways to say a grade",
        [
            "Craft,Filled,Litres,Octane",
            "H01,07/14/2025 14:30,40.5,95 RON",
            "H02,07/13/2025 09:05,38.2,premium",
            "H03,07/15/2025 09:05,30,regular 87 E10",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_ron=95),
            fill(US, "H02", "2025-07-13 09:05", 38.2, octane_aki=93),
            fill(US, "H03", "2025-07-15 09:05", 30, octane_unlabelled=87),
        ],
        knows={"words": {"premium": "93 AKI", "regular 87 e10": "87 E10"}},
    ),
    _case(
        "a pump's name is no dock",
        [
            "Craft,Filled,Litres,Pump",
            "H01,07/14/2025 14:30,40.5,87 reg",
            "H02,07/13/2025 09:05,38.2,93 prem",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_unlabelled=87),
            fill(US, "H02", "2025-07-13 09:05", 38.2, octane_unlabelled=93),
        ],
        knows={"words": {"87 reg": "87", "93 prem": "93"}},
    ),
    _case(
        "a heading that begins with pump",
        [
            "Craft,Filled,Litres,Pump: 87 reg",
            "H01,07/14/2025 14:30,40.5,x",
            "H02,07/13/2025 09:05,38.2,x",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
        ],
    ),
    _case(
        "the scale in the heading",
        [
            "Craft,Filled,Litres,Octane (AKI)",
            "H01,07/14/2025 14:30,40.5,87",
            "H02,07/13/2025 09:05,38.2,93",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_aki=87),
            fill(US, "H02", "2025-07-13 09:05", 38.2, octane_aki=93),
        ],
    ),
    _case(
        "a number without a scale",
        [
            "Craft,Filled,Litres,Octane",
            "H01,07/14/2025 14:30,40.5,91",
            "H02,07/13/2025 09:05,38.2,91",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_unlabelled=91),
            fill(US, "H02", "2025-07-13 09:05", 38.2, octane_unlabelled=91),
        ],
    ),
    _case(
        "ethanol as it stands on a pump",
        [
            "Boot;Datum;Liter;Oktan;Sorte",
            "B01;14.07.2025 14:30;40,5;95;E10",
            "B02;13.07.2025 09:05;38,2;95;E5",
        ],
        [
            fill(DE, "B01", "2025-07-14 14:30", 40.5, octane_unlabelled=95),
            fill(DE, "B02", "2025-07-13 09:05", 38.2, octane_unlabelled=95),
        ],
        world=DE,
    ),
    _case(
        "a grade nobody remembers",
        [
            "Craft,Filled,Litres,Grade",
            "H01,07/14/2025 14:30,40.5,93 AKI",
            "H02,07/13/2025 09:05,38.2,??",
        ],
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_aki=93),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
        ],
        knows={"words": {"??": ""}},
    ),
    FileCase(
        "a word of grade in the contract's form costs the cell",
        {
            "fills.csv": text(
                "hull_id,filled_at,volume_l,source,octane_aki",
                "H01,2025-07-14T19:30:00Z,40.5,outside,93",
                "H02,2025-07-13T14:05:00Z,38.2,outside,premium",
            )
        },
        [
            fill(US, "H01", "2025-07-14 14:30", 40.5, octane_aki=93),
            fill(US, "H02", "2025-07-13 09:05", 38.2),
        ],
        contract=True,
    ),
    _case(
        "a supplier's grade of pistons is no octane",
        [
            "Set no,Engine,Fitted,Engine hours,Piston type,Grade,Reason",
            "P1,E1,2025-07-14T19:30:00Z,20,cast,original,factory",
            "P2,E2,2025-07-13T14:05:00Z,30,forged,aftermarket,planned",
        ],
        [
            (
                "piston_sets",
                {
                    "piston_set_id": "P1",
                    "engine_id": "E1",
                    "fitted_engine_h": 20.0,
                    "fitted_at": US.utc("2025-07-14 14:30"),
                },
            ),
            (
                "piston_sets",
                {
                    "piston_set_id": "P2",
                    "engine_id": "E2",
                    "fitted_engine_h": 30.0,
                    "fitted_at": US.utc("2025-07-13 09:05"),
                },
            ),
        ],
    ),
]
