"""Subject, headings and lines of the week's mail."""

from __future__ import annotations

TO_DO = {
    "keep_off": "{n} to keep off",
    "book_check": "{n} to check",
    "not_enough_record": "{n} not assessed",
}
"""What the subject counts, by call, in order."""

SUBJECT, NOTHING_TO_CHECK = "{demo}Hulls, week of {week}: {to_do}", "nothing to check"
DEMO_SUBJECT = "[{label}] "
AS_KNOWN = "As known on {instant}."

SHOP = "Keep off or check"
DOCK = "Change before the next rental"
OPEN = "Rebuild sheets still open, and tests let go by name"
UNASSESSED = "Not assessed: judge by inspection"
CHANGES = "Since the last report"
FUEL_RULE = "Fuel rule, dock by dock"
ROOM = "Room and kits"

NO_HULL = "No hull."
GROUP = "{job}: {hulls}; {cost} in all."
REASON = "{hull}: {reason}"
CHANGE = "{hull}: {change}."
DOCK_RULE = "{dock}: {rule}"
FLAGGED = "Before the next rental, {flag}: {hulls}."
WAITING = "{hulls}: {why}."
HULL = "{hull} ({dock}): {call}; {odds}. {reason} Do: {action}"
FAILED_ALREADY = "failed already"
ODDS = "chance in 30 days {chance} ({span})"
