"""What a rebuild sheet says: its scope, the ways to go on, and whether it may be closed."""

from __future__ import annotations

SCOPE_NAMES = {"full": "full rebuild, bottom end opened", "top_end": "top end and head"}
PROPOSED_WORK = "Proposed: {scope}; {hours} mechanic's hours."
EVERY_REBUILD = "part of every rebuild"

PROPOSED_MARK = "(proposed)"
PROPOSED_OPTION = "{option} " + PROPOSED_MARK
NOT_PRICED = "not priced by this shop"
OWN_RANGE = "{low} to {high} ({jobs} own jobs)"
WEAK_RANGE = "{low} to {high} (weak, secondary pages)"
LISTED_RANGE = "{low} to {high} (this shop's prices of {seasons} seasons)"
FETCHES = "fetches {price}"
ASK_FOR_IT = "to be asked for"
NEEDS_MORE = "What was found asks for the bottom end to be opened."
KEEPS = "Evidence keeps; an engine left wet does not."
LEAVE_IT, NO_PRICE, LEFT_AS_IT_IS = (
    "Leave it as it is",
    "none",
    "The engine does not run; the parts are kept as evidence.",
)

THE_ENGINE, NONE = "engine", "\N{EN DASH}"
VERDICT = "{verdict}: {reason}"
BY = "{name}, {day}"
LET_GO = "Let go: {waiver}"
NOT_ASKED_LINE = "On record, but {row}."
MAY_CLOSE = (
    "Every line passed within the maker's limits or was let go by name for a recorded reason."
)
CANNOT_CLOSE = "{which} cannot be closed: {count} line(s) stand in the way."
THIS_REBUILD, A_REBUILD = "This rebuild", "A rebuild"
MORE_READINGS = "and {more} more."
