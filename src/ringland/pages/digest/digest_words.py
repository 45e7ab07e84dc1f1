"""Subject, headings and lines of the week's mail."""

from __future__ import annotations

TO_DO = {
    "do_not_rent": "{n} not to rent",
    "rent_only": "{n} to rent only as said",
    "not_enough_record": "{n} not assessed",
}
"""What the subject counts, by state, in order."""

SUBJECT, NOTHING_TO_CHECK = "{demo}Hulls, week of {week}: {to_do}", "no open job known"
DEMO_SUBJECT = "[{label}] "
AS_KNOWN = "Records to {instant}."

SHOP = "Do not rent"
DOCK = "Rent only as said"
OTHERS = "The other hulls"
RELEASED = "Let go by name"
UNASSESSED = "Not assessed: judge by inspection"
CHANGES = "Since the last report"
FUEL_RULE = "Fuel rule, dock by dock"
ROOM = "Room and kits"

NO_HULL = "No hull."
GROUP = "{says}: {hulls}."
REASON = "{hull}: {reason}"
CHANGE = "{hull}: {change}."
DOCK_RULE = "{dock}: {rule}"
WAITING = "{hulls}: {why}."
HULL = "{hull} ({dock}): {call}; {odds}. {reason} Do: {action}"
FAILED_ALREADY = "failed already"
ODDS = "chance in 30 days {chance} ({span})"
