"""What the score page says: headings, labels and notes on how past weeks' advice fared."""

from __future__ import annotations

TITLE = "Was the advice any good?"
NOT_YET = (
    "No week is old enough to be scored yet: a chance for {days} days can be judged when they "
    "have passed."
)
WORK_OUT_WEEKS = (
    "Earlier weeks can be worked out from what was known then, some seconds each: {backfill}, then "
    "{week}. A season of weeks gives this page its figures."
)
BACKFILL, WEEK, AS_OF = "ringland backfill --since YYYY-MM-DD", "ringland week", " --as-of {day}"
"""The commands, and what they take besides where the data are not of today."""
HOME_OPTION, PROGRAM = "--home", "ringland"
FOR_THE_DEMO = "For the demo, put {home} and the demo's folder after {program}."

NO_RING_FAILURE = "No ring failure fell in the weeks that can be judged."
NONE_FLAGGED = "{failures} fell in the weeks that can be judged; none was flagged before."
DAYS_AHEAD, DAYS_AHEAD_RANGE = "{days} days", "{low} to {high} days"
FLAGGED_AHEAD = (
    "{failures} fell in the weeks that can be judged: {flagged} on hulls flagged before, first "
    "{ahead} ahead (looking back {days} days), and {unflagged} without a flag."
)
WARNINGS_CAME = (
    "{warnings} (a hull kept off or sent to a check, in one report or in several in a row): {came} "
    "were followed by a failure within {days} days of a flag. Counted by the week, {failed} of "
    "{flags} were, and {unflagged} without a flag. A warning that led to work cannot come true any "
    "more, so hits alone say little."
)

COUNTED = "What was counted"
COUNTED_NOTE = (
    "A hull opened, sold or withdrawn before anything failed counts as followed to then, "
    "and hulls like it that ran on stand in for it."
)

SAID = "What was said, and what came true"
TOO_FEW = "Too few hull-weeks to group them by the chance said."
HIGH_AND_LOW = (
    "Hulls told about {high} for {days} days failed in {high_came} of {high_cases} "
    "({high_failed}); those told about {low} in {low_came} of {low_cases} ({low_failed})."
)
SAID_PICTURE = (
    "Share of hull-weeks that failed within the horizon against the chance said; the table holds "
    "the same figures."
)
AS_SAID, CAME_TRUE_LIMITS = "as said", "came true, with limits"
CHANCE_AXIS, FAILED_AXIS = "chance said for 30 days", "share that failed"
SAID_HEADINGS = ("Said, on average", "Came true (95 % range)", "Hull-weeks", "Failures")
SAID_LABELS = ("Said", "Came true", "Hull-weeks", "Failures")
"""The same headings where each stands beside its figure on a narrow screen."""
WITH_RANGE = "{middle} ({low} to {high})"
NO_LINE = "No calibration line: {problem}"
IN_ALL = "{observed} hull-weeks failed where the chances add to {expected}."
CALIBRATION = (
    "Calibration slope {slope} "
    "({slope_low} to {slope_high}, {confidence}); 1 is right, below 1 the chances spread too "
    "widely. Level {level} ({level_low} to {level_high}) on the log odds; 0 is right."
)

AHEAD = "By how many weeks ahead it was said"
AHEAD_HEADINGS = (
    "Week ahead", "Hull-weeks", "Failures said", "Failures seen", "In keeping", "Verdict",
)  # fmt: skip
IN_KEEPING = "{low} to {high}"
AHEAD_MISSES = {True: "misses: a doubt on every page", False: "in keeping"}
AHEAD_NOTE = (
    "What each list said of its next 7 and 30 days, parted by weeks, for the sets still running. "
    "In keeping: what may be seen if the chances and their ranges are right, all four weeks "
    "together 19 times in 20. The same failure stands in each week ahead that spoke of it."
)

RIVALS = "Against simple rules"
RIVAL_HEADINGS = (
    "Forecaster",
    "Miss: 0 is best",
    "Tool nearer by (95 % range)",
    "Hull-weeks",
    "Failures",
    "Verdict",
)
RIVAL_LABELS = (
    "Forecaster",
    "Miss: 0 is best",
    "Tool nearer by",
    "Hull-weeks",
    "Failures",
    "Verdict",
)
"""The same headings where each stands beside its figure on a narrow screen."""
TOOL_ITSELF = "the tool itself"
RIVALS_NOTE = (
    "Miss: how far the chance said lay from what came, squared, on average. Base rate: the share "
    "that failed so far. Hours only: from the hours on the set and nothing else. Fuel-age rule: "
    "the share that failed so far among hulls with fuel as old. The rules learn week by week, as "
    "the tool does; the verdict draws whole hulls. Hull-weeks that any of them has no chance for "
    "are left out."
)

METHOD_NAMES = (
    "The miss is the Brier score. Hulls not followed to the end count by inverse probability of "
    "censoring weights."
)

LEADS = "Each failure, and how long before it the hull was flagged"
LEAD_HEADINGS = (
    "Hull",
    "Failed",
    "Weeks reported",
    "Weeks flagged",
    "Days from first flag",
    "Last chance",
)
LEAD_LABELS = (
    "Hull",
    "Failed",
    "Weeks reported",
    "Weeks flagged",
    "Days from first flag",
    "Last chance said",
)
"""The same headings where each stands beside its figure on a narrow screen."""
NOT_FLAGGED, NOT_KNOWN = "not flagged", "not known"
LATEST_OF = "The latest {shown} of {all}."
LEADS_NOTE = (
    "Reports in the {days} days before the failure. A hull that was not flagged may still have "
    "been called likelier than the fleet: see the chance it was given last."
)
NONE = "None."

WARNINGS = "Each warning, and what followed"
ALL_WARNINGS = "{all} warnings"
LATEST_WARNINGS = "The latest {shown} of {all} warnings"
WARNING_HEADINGS = ("Hull", "First flag", "Last flag", "Weeks", "What followed in {days} days")
NO_FAILURE_CAME = "no ring failure"
FAILURE_CAME = "ring failure, {days} days after the first flag"


ADVICE = "What lists asked for, and what was done"
ADVICE_KINDS = {True: "Before the next rental", False: "By its day"}
ADVICE_COUNTS = ("asked", "in_time", "late", "let_go", "overtaken", "not_yet", "not_done")
ADVICE_HEADINGS = (
    "Jobs to be done",
    "Asked for",
    "Done in time",
    "Done late",
    "Let go by name",
    "Overtaken",
    "Not due yet",
    "Overdue",
    "Failed in 30 days: done; not done",
)
ADVICE_NOTE = (
    "Only lists that were given out ask for anything. Whoever follows advice may differ in other "
    "ways from whoever does not: the last column compares no like with like."
)
