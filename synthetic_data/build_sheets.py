"""The maker's book of an invented engine, and what the shop wrote down of each rebuild.

A top-end rebuild fills in the head and the bores, a full one the crank as well; now and then
a line is forgotten, not signed, or let go by name.  What is also a bench test (vacuum,
compression, leak-down, taper, deck) stands among the inspections.
"""

from __future__ import annotations

import numpy as np

from synthetic_data.logbook import Cell, Logbook
from synthetic_data.scenario import MINUTES_PER_DAY

_FAMILIES = ("S3", "S4")
_BOOK, _HAND, _MECHANICS = "maker's book (invented)", "H. Quist", ("R. Vane", "T. Ollander")
_MACHINISTS = ("Brack & Tolle", "own bench")  # invented
_FORGOTTEN, _UNSIGNED, _LET_GO = 0.004, 0.003, 0.002
_WHY = "The maker's service letter allows it for this engine."

# check: (scope, by, unit, least, most, at which a used part goes, decimals)
_MEASURED: dict[str, tuple[str, str, str, float | None, float | None, float | None, int]] = {
    "hone_angle": ("top_end", "cylinder", "deg", 40.0, 60.0, None, 0),
    "hone_roughness": ("top_end", "cylinder", "um", 0.25, 0.7, None, 2),
    "head_flatness": ("top_end", "engine", "mm", None, 0.05, 0.1, 3),
    "piston_to_wall": ("top_end", "cylinder", "mm", 0.05, 0.08, 0.12, 3),
    "bore_out_of_round": ("top_end", "cylinder", "mm", None, 0.02, 0.05, 3),
    "ring_1_gap": ("top_end", "cylinder", "mm", 0.58, 0.75, 1.2, 2),
    "ring_2_gap": ("top_end", "cylinder", "mm", 0.65, 0.85, 1.3, 2),
    "ring_1_side": ("top_end", "cylinder", "mm", 0.03, 0.07, 0.12, 3),
    "ring_2_side": ("top_end", "cylinder", "mm", 0.03, 0.07, 0.12, 3),
    "rod_clearance": ("full", "cylinder", "mm", 0.03, 0.06, 0.09, 3),
    "main_clearance": ("full", "main", "mm", 0.03, 0.06, 0.09, 3),
    "crank_end_float": ("full", "engine", "mm", 0.08, 0.25, 0.4, 2),
    "crank_run_out": ("full", "engine", "mm", None, 0.04, 0.06, 3),
    "seat_width": ("top_end", "port", "mm", 1.0, 1.5, 2.0, 2),
    "seat_run_out": ("top_end", "port", "mm", None, 0.04, 0.08, 3),
    "oil_pump_side": ("full", "engine", "mm", 0.03, 0.08, 0.12, 3),
    "oil_pump_tip": ("full", "engine", "mm", 0.05, 0.15, 0.2, 2),
    "injector_flow": ("top_end", "cylinder", "ml/min", 300.0, 320.0, None, 0),
    "blower_clutch_slip": ("top_end", "engine", "Nm", 9.0, 14.0, 7.0, 1),
    "rod_torque": ("full", "cylinder", "Nm", 38.0, 42.0, None, 0),
    "rod_angle": ("full", "cylinder", "deg", 88.0, 92.0, None, 0),
    "head_torque": ("top_end", "engine", "Nm", 48.0, 52.0, None, 0),
    "head_angle": ("top_end", "engine", "deg", 88.0, 92.0, None, 0),
    "valve_lash": ("top_end", "port", "mm", 0.15, 0.25, None, 2),
    "cam_timing": ("top_end", "engine", "deg", -1.0, 1.0, None, 1),
    "oil_pressure_cold": ("top_end", "engine", "kPa", 300.0, 600.0, None, 0),
    "oil_pressure_hot": ("top_end", "engine", "kPa", 120.0, 300.0, None, 0),
    "break_in_hours": ("top_end", "engine", "h", 5.0, 12.0, None, 1),
}
_TESTED = {
    "valve_vacuum": ("inHg", 28.0, None),
    "compression": ("kPa", 1080.0, None),
    "leak_down": ("%", None, 10.0),
    "bore_taper": ("mm", None, 0.05),
    "deck_flatness": ("mm", None, 0.05),
}
"""What the inspections hold, with the book's least and most."""
_ANSWERED = {
    "parts_cleaned": ("top_end", "engine", "yes"),
    "cracks_looked_for": ("top_end", "engine", "yes"),
    "hone_tool": ("top_end", "cylinder", "diamond"),
    "seats_cut": ("top_end", "port", "yes"),
    "relief_valve": ("top_end", "engine", "new"),
    "rod_bolts": ("full", "engine", "new"),
    "head_bolts": ("top_end", "engine", "new"),
    "coolant_held": ("top_end", "engine", "yes"),
    "first_oil": ("top_end", "engine", "yes"),
}
_METHODS = {
    "piston_to_wall": "bore gauge and micrometer",
    "rod_clearance": "plastic gauge strip",
    "main_clearance": "plastic gauge strip",
}
_AFTER = ("first_oil", "break_in_hours")
"""Done a week after the engine went back."""


def write_build_limits(book: Logbook) -> None:
    """The maker's figures of both families, for a new build and for used parts."""
    for family in _FAMILIES:
        rows: list[tuple[str, str, float | None, float | None, str]] = [
            (check, "new", least, most, unit)
            for check, (_, _, unit, least, most, _, _) in _MEASURED.items()
        ]
        rows += [
            (check, "new", least, most, unit) for check, (unit, least, most) in _TESTED.items()
        ]
        for check, (_, _, unit, _, _, wear, _) in _MEASURED.items():
            if wear is not None:
                ends = (wear, None) if check == "blower_clutch_slip" else (None, wear)
                rows.append((check, "wear", *ends, unit))
        book["build_limits"].extend(
            (family, check, kind, least, most, unit, _BOOK, _HAND)
            for check, kind, least, most, unit in rows
        )


def write_build_sheets(book: Logbook, rng: np.random.Generator) -> None:
    """What was measured, chosen and done on every rebuild of the book."""
    cylinders = {str(row[0]): row[3] for row in book["engines"]}
    hands: dict[tuple[str, int], str] = {}
    asked = {check: line[:2] for check, line in _MEASURED.items()}
    asked |= {check: line[:2] for check, line in _ANSWERED.items()}
    for engine_id, minute, scope, *_ in list(book["rebuilds"]):
        number = cylinders[str(engine_id)]
        if not isinstance(minute, int) or not isinstance(number, int):
            continue
        hand = str(rng.choice(_MECHANICS))
        hands[str(engine_id), minute] = hand
        for check, (of, by) in asked.items():
            if of == "full" and scope != "full":
                continue
            at = minute + 7 * MINUTES_PER_DAY if check in _AFTER else minute - 120
            for place in _places(by, number):
                row = _line(check, rng)
                if row is None:
                    continue
                value, unit, answer, let_go = row
                signed = None if rng.random() < _UNSIGNED else hand
                book["build_readings"].append(
                    (engine_id, at, check, place, value, unit, answer, _METHODS.get(check), signed,
                     _HAND if let_go else None, _WHY if let_go else None)
                )  # fmt: skip
    book["rebuilds"] = [_told(row, hands, rng) for row in book["rebuilds"]]
    book["piston_sets"] = [
        (*row, f"L{1 + int(rng.integers(4)):02d}" if row[6] != "unknown" else None)
        for row in book["piston_sets"]
    ]


def _told(
    row: tuple[Cell, ...], hands: dict[tuple[str, int], str], rng: np.random.Generator
) -> tuple[Cell, ...]:
    built_by = hands.get((str(row[0]), row[1])) if isinstance(row[1], int) else None
    return (*row, built_by, str(rng.choice(_MACHINISTS)))


def _line(
    check: str, rng: np.random.Generator
) -> tuple[float | None, str | None, str | None, bool] | None:
    """Value, unit, answer and whether it was let go; None: forgotten."""
    draw = rng.random(2)
    if draw[0] < _FORGOTTEN:
        return None
    if check in _ANSWERED:
        return None, None, _ANSWERED[check][2], False
    _, _, unit, least, most, _, decimals = _MEASURED[check]
    low = 0.0 if least is None else least
    high = low * 1.2 if most is None else most
    let_go = draw[1] < _LET_GO
    share = 1.15 if let_go else float(np.clip(rng.normal(0.5, 0.15), 0.05, 0.95))
    return round(low + share * (high - low), decimals), unit, None, let_go


def _places(by: str, cylinders: int) -> list[Cell]:
    numbers = range(1, cylinders + 1)
    places: dict[str, list[Cell]] = {
        "engine": [None],
        "cylinder": [str(number) for number in numbers],
        "port": [f"{number} {side}" for number in numbers for side in ("intake", "exhaust")],
        "main": [f"main {number}" for number in range(1, cylinders + 2)],
    }
    return places[by]


_INSTRUMENTS = (("LT-04", "leak_down", 45), ("CG-02", "compression", 120), ("VP-01", "vacuum", 80))


def write_evidence(book: Logbook, rng: np.random.Generator) -> None:
    """Samples, kept parts and instruments of the opened engines; who looked, and who settled."""
    opened: dict[tuple[str, int], list[tuple[Cell, ...]]] = {}
    hands: dict[tuple[str, int], str] = {}
    for row in book["teardowns"]:
        if isinstance(row[1], int):
            opened.setdefault((str(row[0]), row[1]), []).append(row)
    for number, ((engine_id, minute), rows) in enumerate(sorted(opened.items()), start=1):
        hand = str(rng.choice(_MECHANICS))
        for item, about, days in _INSTRUMENTS:
            book["evidence"].append(
                (engine_id, minute, "instrument", item, about, None, None, None, None,
                 minute - days * MINUTES_PER_DAY, hand)
            )  # fmt: skip
        sampled = [row for row in rows if row[4] == "fuel sample below the need of the calibration"]
        if sampled and rng.random() < 0.8:
            below = "below the need" if sampled[0][5] == "seen" else "meets the need"
            book["evidence"].append(
                (engine_id, minute + 30, "fuel_sample", f"FS-{number:03d}", "tank", None,
                 f"S{4100 + number}", below, "fuel cabinet", None, hand)
            )  # fmt: skip
        for row in rows:
            if row[4] == "second land broken down" and row[5] == "seen" and rng.random() < 0.7:
                book["evidence"].append(
                    (engine_id, minute + 60, "part_kept", f"PK-{number:03d}-{row[2]}", "piston",
                     row[2], None, None, f"shelf {1 + number % 6}", None, hand)
                )  # fmt: skip
        hands[engine_id, minute] = hand
    book["teardowns"] = [
        (*row, hands.get((str(row[0]), row[1]) if isinstance(row[1], int) else ("", 0)))
        for row in book["teardowns"]
    ]
    book["failures"] = [(*row, None if row[6] is None else _HAND) for row in book["failures"]]
