"""Headings, labels and notes of the fuel pages: dock by dock, hull by hull, each hull's tank."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.words.number_words import UNKNOWN, count_text, number_text, quantity_text

TITLE = "Fuel, dock by dock"
LEAD = (
    "What each dock holds and sold, against what its hulls need in hard running. {hulls} "
    "\N{MIDDLE DOT} {scale}"
)
ALL_DOCKS = "All docks"
HULL_BY_HULL, ON_THE_SCALE = "Hull by hull", "What hangs on the octane scale"

AKI, DAYS = "{number} AKI", "{number} days"
DOCK, BLEND_NOW, HIGHEST_NEED, MEAN_AGE_NOW = "Dock", "Blend now", "Highest need", "Age now"
OLDEST_SOLD, TANK_LASTS = "Oldest sold", "Tank lasts"
SOLD_BELOW_NEED, SOLD_BELOW_NEED_IN = "Sold below need", "Sold below need, {days} days"
PART_OF_SOLD = "{below} of {sold}"
DOCK_FIGURES = "What it holds and sold, and its tank over time"
NEED_MORE = "{n} of its hulls need more than the blend gives"
DOCK_PICTURE = (
    "The bulk tank's level, octane with its bounds against the highest need, and mean fuel age "
    "over the last {days} days."
)
DOCK_PICTURE_NOTE = (
    "Dashed line: the highest stated need. Dotted lines: {turns} days (begins to turn) and {old} "
    "days (old): common practice, no source. Shaded: bounds of the blend from what the record "
    "leaves open."
)
NO_PICTURE = "No delivery or fill in the last {days} days."
SILENT = "No delivery on record, so what was sold there cannot be told: {docks}."

SOLD_BELOW_NEED_LAST = "Sold below need, last {days} days"
NEED_OF_HULLS, IN_THE_TANK, TURNOVER = "Need of its hulls", "In the tank", "Turnover"
NOTHING_SOLD = "nothing sold"
NONE_BELOW = "nothing of {sold}, as far as is known"
WENT_BELOW = "{below} of {sold} ({share}) went into craft that needed more"
BLEND = "{middle} AKI ({low} to {high}){unknown}"
NO_GRADE_PART = "; {share} of it without a grade on record"
FROM_TO = "{low} to {high}"
NEED_MET = "{span} AKI: the blend gives every stated need"
NEED_NOT_MET = "{span} AKI: {below} of {hulls} need more than the blend gives"
OLDEST_FILL = "the oldest fill averaged {days} days"
LASTS_AT_THIS_RATE = "the tank lasts {days} days at this rate of sale"
LEVEL_AND_AGE = "{level}; {age}"
NEED_MORE_LIKELY = (
    "At the highest stated need, about {share} of engines alike may need more than this blend: "
    "engines of one model differ by about {spread} octane numbers (assumption)."
)

HULLS = "Hull by hull, last {days} days"
HULL, BURNED, BELOW_NEED, SHORT_BY = "Hull", "Burned", "Below need", "Short by"
MEAN_AGE, OLDER_THAN, NOT_ON_RECORD = "Age", "Older than {days} days", "Not on record"
HULLS_NOTE = (
    "Shares are of the fuel burned; short by: octane numbers, on average over what was below need. "
    "Each hull's name leads to its tank over time."
)
NO_HULL_BURNED = "No hull burned fuel on record in these days."
ALL_WELL = (
    "Nothing below need, hardly anything older than {days} days and hardly anything off the "
    "record: {hulls}."
)

SCALE_NOTE = (
    "Fuel and need are compared by the pump number (AKI). An engine may follow another mix of RON "
    "and MON: octane index OI = RON \N{MINUS SIGN} K \N{MULTIPLICATION SIGN} (RON \N{MINUS SIGN} "
    "MON), where K = {k} is the pump number. The shortfall then moves only if the fuels burned "
    "differ in RON \N{MINUS SIGN} MON from the fuel behind the stated need; tried with {gap} below "
    "and above."
)
K = "K"
GAP = "RON \N{MINUS SIGN} MON of the fuel less that of the need"
GAP_SHORT = "RON \N{MINUS SIGN} MON differs by"
MEAN_SHORTFALL, MEAN_SHORTFALL_SHORT = "Average shortfall in hard running", "Average shortfall"
LITRES_BELOW_NEED = "Litres below need"
TRIALS_NOTE = (
    "Over all rentals on record whose octane and need are known. K of boosted engines is negative "
    "(published); the gap is an assumption."
)

HOW = "How this is worked out"
HOW_LINES = (
    "Each tank is taken as perfectly mixed; a fill from a dock brings the dock's blend and its "
    "ages at that moment.",
    "Gasolines are blended by volume on the pump number: the usual shop assumption, exact neither "
    "for ethanol nor for octane booster.",
    "What fills cannot explain is an unrecorded fill with bounds, never a silent guess.",
    "A stated need is that of a typical engine of its model; they differ by about {spread} octane "
    "numbers (assumption). No record tells one engine's own need, so the bounds here are those of "
    "the fuel alone.",
)

TANK = "The tank over the last {days} days"
TANK_PICTURE = (
    "Level of the tank with each ride marked by octane margin, octane in the tank with its bounds "
    "against need, and mean fuel age."
)
TANK_PICTURE_NOTE = (
    "Each ride stands on the level it left; rings mark its worst rides on the whole record. "
    "Octane: solid with bounds shaded, need dashed. Dotted on age: {turns} days (begins to turn) "
    "and {old} days (old): common practice, no source."
)
NO_TANK_PICTURE = "No fill and no ride in these days."
WORST = "Worst rides on record"
DAY, FUEL, BELOW_NEED_BY, FUEL_AGE = "Day", "Fuel", "Below need by", "Fuel age"
HARD_RUNNING, HOURS = "Hard running", "{number} h"
WORST_NOTE = "By octane shortfall times hours of hard running."
NO_WORST = "No ride below need is known."
WINDOWS = "What its piston set burned"
OVER, OCTANE_ON_RECORD, SHORTFALL, AGE_D = "Over", "Octane on record", "Shortfall", "Age, days"
SPANS = {
    "25h": "last {hours} engine hours",
    "28d": "{days} days to its last ride",
    "life": "since the set was fitted",
}
WINDOWS_NOTE = (
    "Averages over all fuel burned, written as known + assumed: the part that fuel of recorded "
    "octane brings to them, then the part of the others."
)
NO_WINDOW = "No running piston set of this hull has a ride on record."
ACCOUNT = "Where the fuel went"
NO_ACCOUNT = "No fuel of this hull is on record."
CAME_IN, WENT_OUT = "In: {parts}.", "Out: {parts}."
CAME = {
    "in_recorded_l": "filled",
    "in_unrecorded_l": "in {missing} nobody wrote down",
    "opening_l": "on hand before the record",
}
WENT = {
    "burned_l": "burned",
    "drained_l": "drained",
    "unexplained_out_l": "left unexplained",
    "clamped_l": "written down beyond what the tank holds",
    "left_l": "still in the tank",
}
"""What became of litres, by the columns of a tank's balance."""
LITRES_WORTH_SAYING = 0.5
"""Fewer round to nothing."""
OFF_BALANCE = (
    "Recorded fills and burns of the last {days} days differ by more than {share}: what it burned "
    "in them rests on fuel that is not on record."
)


def short_by_words(shortfall_on: float | None, *, is_known: bool) -> str:
    """By how many octane numbers what was below need fell short.

    Args:
        shortfall_on: octane numbers; None where nothing was below need or nothing is known.
        is_known: whether octane and need of what was burned are known.
    """
    if shortfall_on is None:
        return "nothing" if is_known else UNKNOWN
    if shortfall_on < 0.05:  # would print as 0.0
        return f"under {number_text(0.1)}"
    return number_text(shortfall_on)


def need_words(low: float, high: float | None, n_below: int, n_hulls: int) -> str:
    """What the hulls of a dock need, and how many need more than its blend gives.

    Args:
        low: lowest stated need, AKI.
        high: highest stated need, AKI; None is said.
        n_below: hulls that need more.
        n_hulls: hulls of the dock.
    """
    if high is None:
        return UNKNOWN
    top = number_text(high, 0)
    span = top if low == high else FROM_TO.format(low=number_text(low, 0), high=top)
    if not n_below:
        return NEED_MET.format(span=span)
    return NEED_NOT_MET.format(span=span, below=n_below, hulls=count_text(n_hulls, "hull"))


def age_words(age_d: float | None, left_d: float, old_d: str) -> str:
    """How old a tank's fuel is and when it will be old.

    Args:
        age_d: mean age in days; None is said.
        left_d: days until it is old if nothing is delivered; negative when past it.
        old_d: the age that counts as old, in words.
    """
    if age_d is None:
        return "age not known"
    said = f"{number_text(age_d, 0)} days old on average"
    if left_d <= 0:
        return f"{said}, past {old_d} days for {number_text(-left_d, 0)}"
    return f"{said}, {number_text(left_d, 0)} days until {old_d} if nothing is delivered"


def litre_parts(litres: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Litres with what became of them, those that round to nothing left out.

    Args:
        litres: by column.
        names: what became of them, by the same columns.
    """
    said = [
        f"{quantity_text(litres[name], 'l')} {became}"
        for name, became in names.items()
        if litres[name] >= LITRES_WORTH_SAYING
    ]
    return ", ".join(said) or "nothing"
