"""What a rebuild sheet says: its scope, the ways to go on, and whether it may be closed."""

from __future__ import annotations

SCOPE_NAMES = {"full": "full rebuild, bottom end opened", "top_end": "top end and head"}
PROPOSED_WORK = "Proposed: {scope}; {hours} mechanic's hours."
EVERY_REBUILD = "part of every rebuild"

WEAK_PRICE = "{price} (weak, from the settings)"
PROPOSED_MARK = "(proposed)"
PROPOSED_OPTION = "{option} " + PROPOSED_MARK
FULL_REBUILD, FULL_LEAVES = (
    "Full rebuild, bottom end opened",
    "Every reading below taken before it goes back.",
)
TOP_END = "Top end and head"
UNMEASURED = "Bearings, rods and oil pump stay unmeasured."
NOT_ASKED_FOR = "Nothing found asks for the bottom end to be opened."
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
