"""The plain states of a hull, the jobs behind them, and what answers them: written once.

List, page, sheet, mail, tables, terminal and the customer's copy all say these words.
"""

from __future__ import annotations

STATE_SAYS = {
    "do_not_rent": "Do not rent until {jobs}",
    "rent_only": "Rent only with {conditions}",
    "no_open_job": "No open job known",
    "not_for_rent": "Not for rent: {why}",
    "not_enough_record": "Not enough on record to say",
}
"""A hull's state; the places are filled from its own jobs."""

STATE_SHORT = {
    "do_not_rent": "do not rent",
    "rent_only": "rent only with",
    "no_open_job": "no open job known",
    "not_for_rent": "not for rent",
    "not_enough_record": "not enough on record",
    # lists of a ringland before the plain states
    "keep_off": "keep off the water",
    "book_check": "book a check",
    "rent_as_normal": "rent as normal",
}
"""The states without a hull's own jobs: for tallies, past weeks, choices."""

STATE_TALLY = {
    "do_not_rent": "not to be rented until a job is done",
    "rent_only": "to be rented only as said",
    "no_open_job": "without an open job known",
    "not_for_rent": "not for rent",
    "not_enough_record": "with not enough on record to say",
}

STATE_MARKS = {
    "do_not_rent": "\N{HEAVY MULTIPLICATION X}",
    "rent_only": "\N{BLACK UP-POINTING TRIANGLE}",
    "no_open_job": "\N{BLACK CIRCLE}",
    "not_for_rent": "\N{EN DASH}",
    "not_enough_record": "?",
}
"""A shape for each state, so that colour is never the only carrier."""

AND_UNTIL, AND_WITH = ", and until ", "; "
IF_RENTED = "{state}; if it is rented, only with {conditions}"
UNTIL = {
    "open_failure": "it is repaired and measured",
    "failed_test": "its failed test is answered (next: {job})",
    "open_sheet": "its rebuild sheet is measured and signed",
    "own_fuel": "its tank is drained and refilled with {grade}",
}
"""What a hull waits for, by why its job must be done; any other by what the job is."""
UNTIL_PASSED, UNTIL_DONE = "its {job} is passed", "its {job} is done"
UNTIL_READ = "its records are put right (see Records: left out of this week)"
LEFT_OUT = "the week could not be worked out with its records, so it is left out"
"""Why no chance is given for a hull whose records ended the week's work."""
NO_ROOM = "{until} (no room this week)"
UNTIL_NEXT_WEEK = "{day}, when it is decided again"
OR_STOCK = ", or it is back on the stock calibration"

GRADE, BEST_GRADE = "{need} AKI or better", "the best grade sold (its need is not on record)"
OUTSIDE_GRADE, OUTSIDE_FRESH = "{grade}, filled outside", "{grade}, fresh, filled outside"
OR_PART_THROTTLE = "{grade}, or no more than three-quarter throttle"
FILL_UP = "its tank filled to the brim first with {grade}"
FILL_OUTSIDE = "its tank filled to the brim first, outside, with {grade}"
UNTIL_BURNED = "no more than three-quarter throttle until the fuel in its tank is burned"
OR_WITH = ", or "
PART_THROTTLE = "no more than three-quarter throttle"
KNOWN_FUEL = "a tank whose fuel somebody knows (nothing of it is on record)"
BY_DAY, OVERDUE = "this done by {day}: {job}", "this done, overdue since {day}: {job}"
ESCALATED = "this done, or let go by name, as it is overdue since {day}: {job}"

NO_ENGINE, OUT_OF_SEASON = "no engine in it on record", "out of season"

SHEET_LABEL = "Measure and sign what is open of its rebuild, or release it by name"
SHEET_SHORT = "measure and sign the rebuild sheet"
SHEET_WAIVED = "Let go on the sheet of its rebuild of {day}: {waivers}."
SHEET_OPEN = "Rebuild of {day} not accepted: {count} of its sheet open, {first}."
FIRST = "the first {first}"
ASKED_BEFORE = "{what}asked for by the list of {asked}, due {due}, not done on record{late}."
ASKED_WHAT = "{jobs}: "
DONE_BUT = "{job}: {but}."
LATE, OPEN_JOB = ": {days} overdue", "open"
OWN_FUEL = "In its own tank: {level} of {blend}, {age} days old on average; {why}."
RELEASED_FLAG = "something let go by name"
BELOW_NEED = {
    "misses": "below its need of {need} AKI",
    "may miss": "which may be below its need of {need} AKI",
}
TOO_OLD = "too old"

ANSWERS = {
    "done": "done on {day} by {who}",
    "done: not_passed": "done on {day} by {who}, and not passed",
    "done: passed": "done on {day} by {who}, and passed",
    "released": "released on {day} by {who}: {why}",
    "passed": "a complete test passed on {day}",
    "failed": "tested on {day}, and failed",
    "rebuilt": "rebuilt, or a piston set fitted, on {day}",
    "calibrated": "its calibration of {day} is on record",
    "drained": "drained on {day}",
    "sampled": "its fuel was tested on {day}",
    "test answered": "nothing that failed stands against it any more",
    "sheet closed": "nothing of its rebuild sheet is open any more",
    "fuel will do": "the fuel in its tank will do as its state says",
    "fuel gone": "the fuel in its tank will do now",
    "left service": "the hull left service on {day}",
    "overtaken": "overtaken by {job}",
}
"""What answered a job, in words."""

UNFINISHED = {
    "calibrations": "written down as done on {day} by {who}, but which calibration is in the "
    "engine since is not on record: write it down as one of calibrations",
    "drains": "written down as done on {day} by {who}, but no draining of its tank is on record: "
    "write it down as one of drains, and the refill as one of fills",
    "rebuilds": "written down as done on {day} by {who}, but no rebuild or piston set is on "
    "record: write it down as one of rebuilds, and the set as one of piston_sets",
}
"""Of a job written down as done whose result is not on record: until then it stays open."""
