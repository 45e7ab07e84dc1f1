"""What the page behind the effects says: headings, labels and notes, and what was counted."""

from __future__ import annotations

TITLE = "Behind the effects"
LEAD = (
    "Which piston sets and which failures every effect, curve and fuel rule rests on, and in "
    "which file and row each is written."
)

COUNTED = "What was counted"
SETS, IN_FIT = "Piston sets on record", "with running of known exposure: in the fit"
HOURS, INTERVALS = "their hours under observation", "their intervals"
RING_FAILURES = "ring failures among them: what the effects rest on"
OTHER_FAILURES = "other failures: they end a set's time under observation"
LEFT_OUT = "left out for want of exposure"
IN_HOURS = "{hours} h"

SIDES = "Failures on each side of a factor"
SIDE_HEADINGS = ("At the end of its record", "Yes: ring failures", "No: ring failures")
BELOW_NEED = "Fuel below need in the last 25 h"
OLD_FUEL = "Fuel of {days} days or more in the last 25 h"
RAISED, FORGED = "Raised calibration", "Forged pistons"
OF_SETS = "{failures} of {sets}"
SIDES_NOTE = (
    "Bare counts, one factor at a time, each set by its last interval: no hours, nothing else "
    "adjusted for. The effects on {how_we_know} use every interval of every set."
)
HOW_WE_KNOW = "How we know"

FAILED = "Every failed piston set"
FAILED_HEADINGS = (
    "Piston set",
    "Failure",
    "At",
    "Below need, last 25 h",
    "Fuel age, last 25 h",
    "Raised",
    "In the effects",
    "Written in",
)
FAILED_LABELS = (
    "Piston set",
    "Failure",
    "At",
    "Below need",
    "Fuel age",
    "Raised calibration",
    "In the effects",
    "Written in",
)
"""The same headings where each stands beside its figure on a narrow screen."""
WRITTEN_IN = "failure: {failure}; fitting: {fitting}"
FILE_AND_ROW = "{file}, row {row}"
MORE_SETS = "{more} more stand in the table."
NO_FAILURE = "No failure on record."
ALL_SETS = (
    "All sets, the running ones too: {table}, or its sheet in {workbook}. The rentals and fills "
    "behind a hull's own figures stand on its page."
)
YES, NO = "yes", "no"
