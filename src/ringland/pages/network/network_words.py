"""Headings, labels and notes of the page that sets a network's operators side by side."""

TITLE = "The network side by side"
LEAD = (
    "{operators}: {hulls}, {sets}, {fractures} in {hours} engine hours. Made from counts that each "
    "operator tells the network, and from what some agreed to show beside; no record left any."
)
COUNTS = {
    "operator": ("operators", "Operators", "Operator"),
    "kit": ("kits", "Kits, of all operators", "Pistons, and whose"),
    "season": ("seasons", "Seasons, of all operators", "Season"),
}
"""Of each kind that is counted: its id on the page, its heading, and what a row is."""
RATE, RATE_SHORT = "Ring-land fractures per 1,000 h (95 % range)", "Per 1,000 h"
HOURS, FRACTURES, OTHERS, SETS = "Engine hours", "Fractures", "Other failures", "Piston sets"
NO_HOURS = "no running on record"
SEEN = (
    "Seen, not explained: fuel, use and age differ between them. What a factor does in all of "
    "them together, each operator reads on its own page of how we know."
)

STATES = "States of hulls"
OPERATOR, AS_LISTED = "Operator", "by its list of {day}"
STATES_NOTE = "By each operator's own list. A hull without an open job is no hull cleared to run."
NO_STATES = "No operator shows what states its hulls are in (ringland network share --states)."

DOCKS = "Docks, each by its own operator's record"
DOCKS_NOTE = (
    "Expected: by that operator's own risk, so seen over expected compares the docks of one "
    "operator and not two operators. Ring failures are ring-land fracture and ring wear."
)
NO_DOCKS = "No operator shows its docks (ringland network share --docks)."
SILENT = "Nothing but counts is shown by: {operators}."
