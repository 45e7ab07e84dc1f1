"""What the page that compares rebuilds says: headings, labels, notes and verdicts."""

from __future__ import annotations

TITLE = "Do rebuilds pay?"

GROUPS = "Life and cost by kind of rebuild"
GROUP_HEADINGS = (
    "Rebuild",
    "Builds",
    "Failures",
    "Engine hours since",
    "Failures per 1,000 h",
    "95 % limits",
    "Cost per engine hour so far",
    "95 % limits",
)
GROUPS_NOTE = (
    "Exact Poisson limits; cost limits by drawing builds anew. A build that still runs will lower "
    "its cost per hour."
)

RATIOS = "Compared"
RATIO_HEADINGS = ("Compared", "Use and fuel", "Times the risk", "95 % limits", "Behind it", "How")
RATIOS_NOTE = (
    "Below 1: fewer failures with the first named. Held alike: octane shortfall, fuel age, full "
    "throttle, calibration."
)
HELD_ALIKE, AS_IT_CAME = "held alike", "as it came"
BEHIND_IT = "{failures} failures, {builds} builds"

MODES = "What failed after it, by {hours} engine hours"
MODE_HEADINGS = ("Rebuild", "Failure", "Count", "Failed by then", "95 % limits")
MODES_NOTE = "Share failed by each mode with the others competing (Aalen-Johansen)."
NO_FAILURE = "No failure after a rebuild is on record."

ANSWER = "{compared}, {how}: {verdict}"
USE_HELD_ALIKE = "with use and fuel held alike"
NOTHING_TO_COMPARE = "No failure after a rebuild is on record: nothing to compare."
MORE_FAILURES = "it goes with more failures in this record."
FEWER_FAILURES = "it goes with fewer failures in this record."
CANNOT_TELL = (
    "the record cannot tell them apart; anything from {low} to {high} times the risk agrees "
    "with it."
)
DOUBTFUL = (
    "doubtful: {failures} failures are too few to hold all of that alike, so neither the ratio nor "
    "its limits can be relied on."
)
CHOSEN = (
    "The shop chose which engine got which rebuild, so these figures say what goes with a "
    "kind of rebuild. They do not prove that the rebuild made the difference."
)

FROM_TO = "{low} to {high}"
WITHOUT_LIMIT = "without limit"


COMEBACKS = "Comebacks within {hours} engine hours of a rebuild"
COMEBACK_HEADINGS = (
    "Of", "Name", "Builds", "Comebacks", "Engine hours", "Per 1,000 h", "Range", "Against the rest",
)  # fmt: skip
COMEBACKS_NOTE = (
    "Ranges are exact. Against the rest: how many times as often, with a range widened for the "
    "number of names compared; a range that holds 1 speaks against nobody. Who gets the hard jobs "
    "is not in it."
)
NO_NAMES = "Who built, who machined and which batch was fitted is not on record."
AGAINST_REST = "{ratio} times ({low} to {high})"
NOBODY_ELSE = "nobody to compare with"
REST_HAD_NONE = "the rest had none; at least {low} times"
OPEN_END = "no upper end"
