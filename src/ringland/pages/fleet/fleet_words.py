"""Headings, labels and notes of the week's list: the fleet page and the script that searches it."""

from __future__ import annotations

from ringland.words.number_words import count_text

TITLE = "This week's list"

FIND_HULLS = "Find hulls"
BY_HULL, BY_DOCK, BY_CALL, ORDER = "Hull", "Dock", "This week", "Order"
ALL_DOCKS, ALL_CALLS = "all docks", "all states"
ORDERS = {
    "": "costliest to leave first",
    "chance": "highest chance first",
    "hull": "by hull",
    "dock": "by dock",
}
"""The orders of the list, by the names `fleet.js` gives them."""
CLEAR = "Clear"
SHOW_OTHERS = "Show the other hulls"
FINDER = {
    "match": "{shown} of {all} hulls match",
    "some": "{shown} of {all} hulls shown",
    "all": "All {all} hulls shown",
    "fold": "Fold the hulls that need nothing",
    "other": "Show the other {n} hull with nothing to do",
    "others": "Show the other {n} hulls with nothing to do",
}
"""What `fleet.js` says of the rows it shows and folds; it fills the places."""

WEEK_JOBS, ONE_HULL, LATE = "This week's jobs", "hull", "{n} overdue"
NAMED, MORE = 24, "and {n} more in the list"
LIST = "Hulls, the costliest to leave first"
RANK, HULL, THIS_WEEK, DO, WHY = "Rank", "Hull", "This week", "Do", "Why"
COST, COST_OF_WAITING = "Cost", "Cost of leaving it"
CHANCE_30D, CHANCE_30D_SHORT = "Chance of failure in 30 days", "Fails in 30 days"
LEAVING_IT = "Leaving it"
COMPLETE_RECORD = "Complete the record; until then judge it by inspection"
ALSO = "Also"
BY_HAND = "Decided by hand"
NO_COST = "none"
FAILED_ALREADY = "failed already"
RANGE_BESIDE = "({low} to {high})"
LIST_NOTE = (
    "Bars run from 0 to {top}: the block is the estimate, the line its 95 % range, the upright "
    "a typical hull here. Cost is paid whatever happens, lost rental included. Cost of leaving it "
    "is expected over {ahead} if the hull is left as it is; an unplanned failure counts "
    "{unplanned} (rebuild and lost rental). {price_note}"
)
NONE_ASSESSED = "No hull can be assessed from this record."

NOT_ASSESSED = "Not enough record to say"
NOT_ASSESSED_NOTE = (
    "These hulls are not safe by omission: judge them by inspection until the record is complete."
)

BEHIND = "Behind the list: figures and room"
JOB, HULLS, HULLS_IN_ORDER = "Job", "Hulls", "Hulls, costliest to leave first"
MECHANIC_HOURS = "Mechanic hours"
NO_JOB = "No job this week: nothing is expected to cost less than leaving every hull as it is."
JOBS_NOTE = "Cost is paid whatever happens over {ahead}, lost rental included."
BAY_LOAD = "Bay load"
LIMIT, USED, THERE_IS, ONE_MORE_SAVES = "Limit", "Used", "There is", "One more saves"
WAITS_FOR_ROOM = "Waits for room"
NONE_WAITS = "Every hull gets the action it would get without limits."
KITS_AND_SEASON = "Kits and the season"
INSTEAD = "Instead of this plan"
INSTEAD_NOTE = (
    "What simpler ways are expected to cost {ahead}, by the same figures: failures, jobs, fuel, "
    "lost rental, and what the age of the piston sets is worth at the end. The plan may choose "
    "any of them."
)
READINGS = "How the record is read"

DOCKS = "Fuel, dock by dock"
BELOW_NEED = "{amount} below need ({share})"
OLDER = "{amount} older than {days} days ({share})"
PICTURE = "The fleet in one picture"
PICTURE_LABEL = (
    "Chance of failure in 30 days of each hull with its range, highest on top; the list above "
    "holds the same figures."
)

TAKE = "Take it with you"
TAKE_LINE = (
    "The same list as a {workbook}, as CSV ({hulls}, {docks}) and Parquet beside it, and as a "
    "mail: {html}, {text}. Each hull's page prints on one sheet. Send a link to one hull as "
    "{hull_link} and its name, to a dock as {dock_link}."
)
WORKBOOK, HULLS_FILE, DOCKS_FILE = "workbook", "hulls", "docks"
HTML_MAIL, TEXT_MAIL = "HTML", "plain text"
GIVEN_OUT = "the list given out on {day}"


def change_words(since: str | None, n_hulls: int) -> str:
    """The heading over what changed since the last report.

    Args:
        since: the day of that report, in words; None where none is kept.
        n_hulls: hulls that changed.
    """
    if since is None:
        return "What changed since last week: no earlier report is kept to compare with."
    if not n_hulls:
        return f"Nothing changed since {since}."
    return f"Changed since {since}: {count_text(n_hulls, 'hull')}."
