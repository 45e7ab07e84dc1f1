"""One line of a build sheet: what was read, how it stands, and what stands in its way.

A reading passes only within the maker's limits for a new build; a figure of ours is shown
and passes nothing.  It must be possible, taken after the failure, and signed by a name.  What
is missing, without a maker's figure or out of limit may be let go by a named person in a
sentence; what is impossible, too old or unsigned is taken again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ringland.bench.air_pressure import air_pressure, pad_question
from ringland.bench.bench_possible import NO_LEAK
from ringland.bench.build_checks import BuildCheck
from ringland.bench.signed_names import is_name, is_reason, is_said
from ringland.units import STANDARD_PRESSURE_KPA, UnitError, in_unit
from ringland.words.number_words import day_text, number_text, plain_text, reading_text

PASS = "pass"  # noqa: S105  # a verdict, not a password
WAIVED = "let go"
MISSING, IMPOSSIBLE, STALE, UNSIGNED = "missing", "cannot be", "too old", "not signed"
OUT, NO_LIMIT, ASKED = "out of limit", "no maker's limit", "cannot be judged"
LET_GO_ABLE = (MISSING, OUT, NO_LIMIT, ASKED)
"""What a named person may let go with a sentence."""

GAUGES = 0.02
"""Share by which two gauges may differ before a reading is more than there was (A)."""


SUPPLY_KPA = (200.0, 1100.0)
"""Air that a leak-down can be made with, 30 to 160 psi: less moves no gauge, more turns the
engine (A)."""


@dataclass(frozen=True)
class Limit:
    """A maker's figure for one check, in its own unit."""

    least: float | None
    most: float | None
    unit: str
    source: str
    entered_by: str


@dataclass(frozen=True)
class BuildLine:
    """One reading the engine must pass, and how it stands."""

    check: BuildCheck
    place: str | None
    target: str
    """The maker's limits for a new build, as shown; or ours, marked as ours."""
    shown: str
    """What was read, done or chosen."""
    verdict: str
    reason: str
    read_by: str | None
    read_at: datetime | None
    waiver: str | None
    """Who let it go and why; stays on every later page."""

    @property
    def name(self) -> str:
        """The check and its place, e.g. 'Ring 1 end gap, 2'."""
        return self.check.words + (f", {self.place}" if self.place else "")

    @property
    def obstacle(self) -> str | None:
        """Why the sheet cannot be closed on this line; None: it can."""
        if self.verdict in (PASS, WAIVED):
            return None
        return f"{self.name}: {self.verdict}, {self.reason}"


@dataclass(frozen=True)
class BuildTime:
    """When and where a build is judged."""

    since: datetime
    """When the failure was found that it answers; readings from before are of what broke."""
    as_of: datetime
    """The instant spoken of; later readings cannot be."""
    altitude_m: float | None = None
    """Of the bench, for what is held against the air."""


class _RefusedError(Exception):
    """A reading does not pass: verdict and reason."""

    def __init__(self, verdict: str, reason: str) -> None:
        super().__init__(verdict, reason)
        self.verdict, self.reason = verdict, reason


def build_line(
    check: BuildCheck,
    place: str | None,
    row: Mapping[str, Any] | None,
    limit: Limit | None,
    at: BuildTime,
) -> BuildLine:
    """How one line stands.

    Args:
        check: what is asked.
        place: where.
        row: the latest row of the BuildReadings contract for it; None: none on record.
        limit: the maker's limit for a new build of this family; None: none entered.
        at: when and where it is judged.
    """
    try:
        verdict, reason = PASS, _passed(check, row, limit, at)
    except _RefusedError as refused:
        verdict, reason = refused.verdict, refused.reason
    waiver = None
    if row is not None and verdict in LET_GO_ABLE and (row["waived_by"] or row["waived_because"]):
        if not is_name(row["waived_by"]):
            reason += "; it cannot be let go without the name of whoever does"
        elif not is_reason(row["waived_because"]):
            reason += "; it cannot be let go without a reason of at least a sentence"
        elif not at.since < row["read_at"] <= at.as_of:
            reason += "; it was let go before the failure or after the day of this sheet"
        else:
            waiver = f"{verdict}, let go by {row['waived_by']}: {row['waived_because']}"
            verdict = WAIVED
    return BuildLine(
        check,
        place,
        _target(check, limit),
        _shown(row),
        verdict,
        reason,
        row["read_by"] if row else None,
        row["read_at"] if row else None,
        waiver,
    )


def _passed(
    check: BuildCheck, row: Mapping[str, Any] | None, limit: Limit | None, at: BuildTime
) -> str:
    """What a passing line says.

    Raises:
        _RefusedError: with the first thing in its way.
    """
    if row is None:
        raise _RefusedError(MISSING, "nothing on record")
    if (row["value"] if check.is_measured else row["answer"]) is None:
        raise _RefusedError(
            MISSING, "nothing measured" if check.is_measured else "nothing answered"
        )
    day = day_text(row["read_at"])
    if row["read_at"] <= at.since:
        raise _RefusedError(STALE, f"taken on {day}, before the failure of {day_text(at.since)}")
    if row["read_at"] > at.as_of:
        raise _RefusedError(IMPOSSIBLE, f"dated {day}, after the day of this sheet")
    value = _possible(check, row) if check.is_measured else None
    if limit is not None and not (is_name(limit.entered_by) and is_said(limit.source)):
        raise _RefusedError(NO_LIMIT, "nobody's name or book stands behind the maker's figure")
    if not is_name(row["read_by"]):
        raise _RefusedError(UNSIGNED, "no name of whoever measured or did it")
    if value is None:
        return _answered(check, str(row["answer"]))
    if check.needs_method and not is_said(row["method"]):
        raise _RefusedError(ASKED, "how it was measured is not written")
    if check.asks == "vacuum":
        return _sealed(value, row, limit, at)
    return _held(value, _limits(check, row, limit, at, value), check)


def _possible(check: BuildCheck, row: Mapping[str, Any]) -> float:
    """The reading in the check's unit, if there can be such a one."""
    if not row["unit"]:
        raise _RefusedError(ASKED, "no unit is written")
    read = _leak(row) if check.asks == "leak" else _in(row["value"], row["unit"], str(check.unit))
    if read is None:
        raise _RefusedError(
            IMPOSSIBLE, f"'{row['unit']}' is no unit of it; write it in {check.unit}"
        )
    low, high = check.possible or (-math.inf, math.inf)
    if not low <= read <= high:
        raise _RefusedError(
            IMPOSSIBLE,
            f"{_text(read, check)} cannot be ({number_text(low, 2)} to {_text(high, check)}): "
            f"check the unit and the decimal point",
        )
    return read


def _answered(check: BuildCheck, answer: str) -> str:
    told = answer.strip().lower()
    wanted = check.allowed if check.asks == "choice" else ("yes", "done")
    if told not in wanted:
        raise _RefusedError(OUT, f"'{answer.strip()}', wanted is {' or '.join(map(repr, wanted))}")
    return told


_Ends = tuple[float | None, float | None]


def _limits(
    check: BuildCheck, row: Mapping[str, Any], limit: Limit | None, at: BuildTime, value: float
) -> _Ends:
    """The maker's least and most in the check's unit, at this bench."""
    if limit is None:
        raise _RefusedError(
            NO_LIMIT, f"{_text(value, check)}; a figure of ours alone passes no new build"
        )
    ends = [
        None if end is None else _in(end, limit.unit, str(check.unit))
        for end in (limit.least, limit.most)
    ]
    if [end is None for end in ends] != [limit.least is None, limit.most is None]:
        raise _RefusedError(
            NO_LIMIT, f"the maker's figure in '{limit.unit}' cannot be read as {check.unit}"
        )
    low, high = check.possible or (-math.inf, math.inf)
    if (ends[0] is None or ends[0] <= low) and (ends[1] is None or ends[1] >= high):
        raise _RefusedError(NO_LIMIT, "the maker's figure lets everything pass: enter the book's")
    if check.asks == "compression":
        air = air_pressure(row["barometer_kpa"], at.altitude_m, row["barometer_is"])
        if air.kpa is None:
            raise _RefusedError(ASKED, str(air.question))
        ends = [None if end is None else end * air.kpa / STANDARD_PRESSURE_KPA for end in ends]
    return ends[0], ends[1]


def _held(value: float, ends: _Ends, check: BuildCheck) -> str:
    least, most = ends
    slack = 1e-9 * max(1.0, abs(value))  # rounding of the units
    if least is not None and value < least - slack:
        raise _RefusedError(OUT, f"{_text(value, check)}, the least is {_text(least, check)}")
    if most is not None and value > most + slack:
        raise _RefusedError(OUT, f"{_text(value, check)}, the most is {_text(most, check)}")
    return _text(value, check)


def _leak(row: Mapping[str, Any]) -> float | None:
    """Leak in percent, from whatever supply was used; None: the unit is none of a leak-down."""
    if row["value"] == (0 if row["unit"] in ("%", "percent") else row["reference_value"]):
        raise _RefusedError(IMPOSSIBLE, NO_LEAK)
    if row["unit"] in ("%", "percent"):
        return float(row["value"])
    if row["reference_value"] is None:
        raise _RefusedError(
            ASKED, "write the supply gauge's reading beside the pressure held, or the leak in %"
        )
    held, supply = (_in(row[name], row["unit"], "kPa") for name in ("value", "reference_value"))
    if held is None or supply is None:
        return None
    if supply <= 0:
        raise _RefusedError(IMPOSSIBLE, "a supply of nothing: write the supply gauge's reading")
    if not SUPPLY_KPA[0] <= supply <= SUPPLY_KPA[1]:
        raise _RefusedError(
            ASKED,
            f"{reading_text(row['reference_value'], row['unit'])} of supply is no leak-down test: "
            f"check the unit, or test with more air",
        )
    return 100 * (1 - held / supply)


def _sealed(kpa: float, row: Mapping[str, Any], limit: Limit | None, at: BuildTime) -> str:
    """The share of the day's vacuum a port holds, against the maker's figure at sea level."""
    pad = None
    if row["reference_value"] is not None:
        pad = _in(row["reference_value"], str(row["unit"]), "kPa")
    air = air_pressure(row["barometer_kpa"], at.altitude_m, row["barometer_is"])
    asked = air.question if pad is None else pad_question(pad, air.kpa)
    if row["barometer_kpa"] is not None and air.kpa is None:
        asked = air.question  # a figure that somebody wrote down and that cannot stand
    if asked is not None:
        raise _RefusedError(ASKED, asked)
    ceiling = float(pad if pad is not None else air.kpa or 0.0)
    if ceiling <= 0 or kpa > ceiling * (1 + GAUGES):
        raise _RefusedError(
            IMPOSSIBLE,
            f"{reading_text(row['value'], row['unit'])} is more than there was to hold: check the "
            f"gauge and the air pressure",
        )
    ratio = kpa / ceiling
    day = number_text(in_unit(ceiling, "kPa", "inHg"))
    said = f"holds {number_text(100 * ratio)} % of the day's {day} inHg"
    if limit is None or limit.least is None:
        raise _RefusedError(NO_LIMIT, f"{said}; a figure of ours alone passes no new build")
    least: float | None = limit.least
    if limit.unit != "ratio":
        read = _in(limit.least, limit.unit, "kPa")
        least = None if read is None else read / STANDARD_PRESSURE_KPA
    if least is None:
        raise _RefusedError(
            NO_LIMIT, f"the maker's figure in '{limit.unit}' cannot be read as vacuum"
        )
    if ratio < least - 1e-9:  # rounding of the units
        raise _RefusedError(OUT, f"{said}, the least is {number_text(100 * least)} %")
    return said


def _in(value: float, unit: str, to: str) -> float | None:
    try:
        return in_unit(float(value), unit, to)
    except UnitError:
        return None


def _text(value: float, check: BuildCheck) -> str:
    return f"{number_text(value, 3 if check.unit == 'mm' else 1)} {check.unit}"


def _target(check: BuildCheck, limit: Limit | None) -> str:
    if not check.is_measured:
        return " or ".join(check.allowed) or "yes"
    if limit is not None:
        return f"{_span(limit.least, limit.most, limit.unit)} (maker: {limit.source})"
    if check.ours is not None:
        ours = _span(check.ours.least, check.ours.most, str(check.unit))
        return f"no maker's figure; ours: {ours} [{check.ours.mark}]"
    return "no maker's figure"


def _span(least: float | None, most: float | None, unit: str) -> str:
    if least is None:
        return f"at most {plain_text(float(most or 0))} {unit}"
    if most is None:
        return f"at least {plain_text(least)} {unit}"
    return f"{plain_text(least)} to {plain_text(most)} {unit}"


def _shown(row: Mapping[str, Any] | None) -> str:
    if row is None or (row["value"] is None and row["answer"] is None):
        return "not measured"
    shown = str(row["answer"]) if row["value"] is None else reading_text(row["value"], row["unit"])
    return f"{shown} ({row['method']})" if row["method"] else shown
