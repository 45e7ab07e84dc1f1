"""What the mechanic measures: checks of a running engine, acceptance of a rebuilt one.

The readings follow the wear and the failure of the simulated engine, with ordinary
scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data.logbook import Logbook

_MECHANICS = ("R. Vane", "T. Ollander")  # invented
SEA_LEVEL_KPA = 101.325
KPA_PER_INHG = 3.386
COMPRESSION_PSI = 176.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """One visit to one engine; each call writes one row into the book."""

    book: Logbook
    engine_id: str
    minute: int
    cylinders: int
    signed_by: str | None = None
    """set for an acceptance, which is of the rebuild of the same minute"""

    def measured(
        self,
        measure: str,
        value: float,
        unit: str,
        cylinder: int | None = None,
        *,
        port: str | None = None,
        pad: float | None = None,
        baro_kpa: float | None = None,
        is_warm: bool | None = None,
    ) -> None:
        """A reading."""
        self._row(measure, cylinder, port, "measured", float(value), unit, pad, baro_kpa, is_warm)

    def unmeasured(
        self, measure: str, state: str, cylinder: int | None = None, port: str | None = None
    ) -> None:
        """No number: 'stated_ok' or 'not_looked_at'."""
        self._row(measure, cylinder, port, state, None, None, None, None, None)

    def _row(self, measure: str, *rest: str | float | bool | None) -> None:
        of_rebuild = self.minute if self.signed_by else None
        self.book["inspections"].append(
            (self.engine_id, self.minute, measure, *rest, of_rebuild, self.signed_by)
        )


def station_kpa(altitude_m: float, rng: np.random.Generator) -> float:
    """Station pressure of a day, not reduced to sea level."""
    # The constants are the ICAO standard atmosphere's, from memory.
    standard = SEA_LEVEL_KPA * (1 - 2.25577e-5 * altitude_m) ** 5.25588
    return round(float(standard + rng.normal(0.0, 0.5)), 1)


def write_running_check(
    sheet: Sheet, wear: float, bad_cylinder: int | None, baro_kpa: float, rng: np.random.Generator
) -> None:
    """Compression and leak-down by cylinder and oil metals; wear is 0 when new, 1 worn out."""
    full = COMPRESSION_PSI * baro_kpa / SEA_LEVEL_KPA
    for cylinder in range(1, sheet.cylinders + 1):
        hit = cylinder == bad_cylinder
        psi = full - 14 * wear + rng.normal(0, 2.2) - hit * rng.uniform(25, 70)
        leak = 4.5 + 9 * wear + abs(rng.normal(0, 1.2)) + hit * rng.uniform(10, 30)
        sheet.measured("compression", round(psi), "psi", cylinder, baro_kpa=baro_kpa, is_warm=True)
        sheet.measured("leak_down", round(leak), "%", cylinder, is_warm=True)
    if rng.random() < 0.8:
        for measure, base, slope in (
            ("oil_iron", 22, 45),
            ("oil_aluminium", 7, 12),
            ("oil_silicon", 9, 5),
        ):
            ppm = (base + slope * wear) * float(np.exp(rng.normal(0, 0.2)))
            sheet.measured(measure, round(ppm), "ppm")
    else:
        sheet.unmeasured("oil_iron", "not_looked_at")


def write_stated_ok(sheet: Sheet) -> None:
    """A check of which only 'ok' was written down."""
    sheet.unmeasured("compression", "stated_ok")
    sheet.unmeasured("leak_down", "stated_ok")


def write_acceptance(
    sheet: Sheet, is_full: bool, is_head_tested: bool, baro_kpa: float, rng: np.random.Generator
) -> None:
    """Measurements of a rebuilt engine before it goes back."""
    pad = round(baro_kpa / KPA_PER_INHG - rng.uniform(0.5, 1.2), 1)
    for cylinder in range(1, sheet.cylinders + 1):
        gap, taper = rng.normal(0.65, 0.02), abs(rng.normal(0.02, 0.01))
        sheet.measured("ring_end_gap", round(float(gap), 2), "mm", cylinder)
        sheet.measured("bore_taper", round(float(taper), 3), "mm", cylinder)
        for port in ("intake", "exhaust"):
            if not is_head_tested:
                sheet.unmeasured("valve_seal_vacuum", "not_looked_at", cylinder, port)
                continue
            seal = pad * float(np.clip(rng.normal(0.95, 0.02), 0.85, 0.995))
            sheet.measured(
                "valve_seal_vacuum", round(seal, 1), "inHg", cylinder, port=port, pad=pad,
                baro_kpa=baro_kpa, is_warm=False,
            )  # fmt: skip
        if is_full:
            clearance = float(rng.normal(0.045, 0.004))
            sheet.measured("bearing_clearance", round(clearance, 3), "mm", cylinder)
    flat = abs(float(rng.normal(0.025, 0.01)))
    sheet.measured("deck_flatness", round(flat, 3), "mm")
    # a stream of its own: what a mechanic writes down must not change what breaks next
    check_rng = rng.spawn(1)[0]
    write_running_check(sheet, wear=0.0, bad_cylinder=None, baro_kpa=baro_kpa, rng=check_rng)


def mechanic(rng: np.random.Generator) -> str:
    """Who signs today."""
    return str(rng.choice(_MECHANICS))
