"""What the bench form asks to be measured: of what came apart, and of what goes together.

The two are never mixed.  A reading of the engine as it was opened is a bench test and becomes
a row of the Inspections contract; one of the engine going together becomes a row of the
BuildReadings contract, which alone can accept a rebuild.
"""

from __future__ import annotations

from typing import Any

from ringland.bench.bench_tests import STANDARD_UNITS
from ringland.bench.build_checks import SIDES, build_checks
from ringland.contracts.build_records import BuildReadings
from ringland.contracts.records import Inspections
from ringland.units import in_unit
from ringland.words.fixed_words import MEASURE_LABELS

_BY_PORT, _BY_CYLINDER = ("valve_seal_vacuum",), (
    "compression", "leak_down", "ring_end_gap", "bore_taper", "bore_out_of_round",
    "bearing_clearance",
)  # fmt: skip
_UNITS = {
    "vacuum": ("inHg", "kPa", "mbar", "hPa", "mmHg", "torr"),
    "leak": ("%", "psi", "kPa", "bar", "kg/cm2"),
    "kPa": ("psi", "kPa", "bar", "kg/cm2"),
    "mm": ("mm", "in", "thou", "um"),
    "Nm": ("Nm", "lbf ft", "kgf m"),
}
_BAROMETER_UNITS = ("hPa", "kPa", "inHg", "mmHg")
_WITH_REFERENCE = ("vacuum", "leak")
"""Tests that are worth something only beside the pad's or the supply's own reading."""


def readings_asked() -> dict[str, Any]:
    """All that the form's script needs to ask for readings, by its own names."""
    return {
        "columns": {
            "inspections": Inspections.column_names(),
            "build_readings": BuildReadings.column_names(),
        },
        "apart": [_apart(measure) for measure in STANDARD_UNITS],
        "together": [
            {
                "key": check.key,
                "words": check.words,
                "stage": check.stage,
                "by": check.by,
                "units": _UNITS.get(check.asks) or _UNITS.get(str(check.unit)) or (check.unit,),
                "allowed": [] if check.is_measured else check.allowed or ("yes",),
                "reference": check.asks if check.asks in _WITH_REFERENCE else "",
                "method": check.needs_method,
            }
            for check in build_checks().values()
        ],
        "sides": SIDES,
        "barometer": [(unit, in_unit(1.0, unit, "kPa")) for unit in _BAROMETER_UNITS],
    }


def _apart(measure: str) -> dict[str, Any]:
    kind = {"valve_seal_vacuum": "vacuum", "leak_down": "leak"}.get(measure, "")
    by = "port" if measure in _BY_PORT else "cylinder" if measure in _BY_CYLINDER else "engine"
    unit = STANDARD_UNITS[measure]
    return {
        "key": measure,
        "words": MEASURE_LABELS[measure],
        "stage": "",
        "by": by,
        "units": _UNITS.get(kind) or _UNITS.get(unit) or (unit,),
        "allowed": [],
        "reference": kind,
        "method": False,
    }
