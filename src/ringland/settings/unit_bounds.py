"""What a number of each unit can be at all: stated once for every setting in that unit.

Bounds are wide: they keep out a slip of the hand or of the unit (a share written as per cent,
a date's order, a minus), not a shop's own judgement.
"""

from __future__ import annotations

from typing import NamedTuple


class Bounds(NamedTuple):
    """The least and the most of a unit, and whether only whole numbers make sense in it."""

    least: float
    most: float
    is_whole: bool = False

    def fault(self, value: float) -> str | None:
        """What a value must be instead; None: it can be."""
        if self.least <= value <= self.most and not (self.is_whole and value % 1):
            return None
        kind = "a whole number" if self.is_whole else "a number"
        return f"give {kind} from {self.least:,.12g} to {self.most:,.12g}"


_SHARE = Bounds(0.0, 1.0)
_LOG = Bounds(-20.0, 20.0)
_TIMES = Bounds(0.0, 100.0)
_SOME = Bounds(0.0, 100_000.0)
_COUNT = Bounds(0.0, 100_000.0, is_whole=True)
_MONEY = Bounds(0.0, 1e9)

UNIT_BOUNDS: dict[str, Bounds] = {
    "share": _SHARE,
    "share of tank": _SHARE,
    "chance": _SHARE,
    "x bore": _SHARE,
    "x journal": _SHARE,
    "%": Bounds(0.0, 100.0),
    "yes/no": Bounds(0.0, 1.0, is_whole=True),
    "AKI": Bounds(60.0, 120.0),
    "RON": Bounds(60.0, 130.0),
    "MON": Bounds(50.0, 120.0),
    "ON": Bounds(0.0, 30.0),
    "ON/deg": Bounds(0.0, 10.0),
    "points/ON": Bounds(1.0, 100.0),
    "K": Bounds(-3.0, 3.0),
    "min": Bounds(0.0, 1_440.0),
    "h": Bounds(0.0, 20_000.0),
    "d": Bounds(0.0, 3_660.0),
    "weeks": Bounds(0.0, 520.0, is_whole=True),
    "seasons": Bounds(0.0, 50.0, is_whole=True),
    "month": Bounds(1.0, 12.0, is_whole=True),
    "day": Bounds(1.0, 31.0, is_whole=True),
    "l": _SOME,
    "ml": _SOME,
    "l/h": Bounds(0.0, 1_000.0),
    "kPa": Bounds(0.0, 20_000.0),
    "inHg": Bounds(0.0, 40.0),
    "mm": Bounds(0.0, 1_000.0),
    "in": Bounds(0.0, 40.0),
    "ppm": _SOME,
    "money": _MONEY,
    "money/d": _MONEY,
    "money/l": _MONEY,
    "factor": _TIMES,
    "ratio": _TIMES,
    "weight": _SOME,
    "points": Bounds(0.0, 100.0),
    "standard errors": _TIMES,
    "slope": _LOG,
    "log": _LOG,
    "log h": _LOG,
    "log ratio": _LOG,
    "log hazard per step": _LOG,
    # weights of a prior, counted in rows of the record, need not be whole
    "rows": _SOME,
    "fills": _SOME,
    "loads": _SOME,
    "sets": _SOME,
    "events": _SOME,
    "hulls": _COUNT,
    "rides": _COUNT,
    "groups": _COUNT,
    "blocks": _COUNT,
    "spans": _COUNT,
    "slots": _COUNT,
    "kits": _COUNT,
    "trees": _COUNT,
    "leaves": _COUNT,
    "failures": _COUNT,
    "spells": _COUNT,
    "readings": _COUNT,
    "reports": _COUNT,
    "draws": Bounds(1.0, 1_000_000.0, is_whole=True),
    "plays": Bounds(1.0, 1_000_000.0, is_whole=True),
}
"""By unit, as it is written in a settings file."""
