"""What the record pages say, of the fleet and of one hull: headings, labels, notes, sentences."""

from __future__ import annotations

from ringland.words.number_words import count_text

TITLE = "The records: what is missing"
ALL_RECORDS = "All records"

ROWS_WAIT = "{rows} rows wait to be mended."
NO_ROW_WAITS = "No row waits to be mended."
NEXT_FIRST = (
    "What to write down next comes first: a gap in the record is a wider range in every chance."
)
NOTHING_MISSING = "Nothing is missing that this page looks for."
TO_DOUBTS, TO_HULLS, TO_DICTIONARY = "Doubts", "Hull by hull", "What the records may say"

RESTATED = "What changed since this week was first reported"
CHANGE_HEADINGS = ("Record", "Change", "Column", "Before", "After", "Why")
WHOLE_RECORD = "the whole record"
MORE_CHANGES = "{more} more: all of them stand in {table}."
KNOWN_LATER = "Restated: worked out with what was known on {instant}. {changes}"
NO_CHANGE = "No record of this week has changed since."
CHANGE_KINDS = {
    "corrected": "{records} corrected",
    "withdrawn": "{records} withdrawn",
    "came later": "{records} written down later",
}
"""What happened to so many records, by the kinds of `Restated.changes`."""
CHANGES = "Against what was known then: {changes}."

NEXT = "Write down next"
TASKS = {
    "engine": "Write down which engine sits in it, and since when.",
    "set": "Write down the piston set its engine runs, and at what engine hours it was fitted.",
    "calibration": "Write down the calibration in force and the octane it needs.",
    "mend": "Mend its rows in set-aside.xlsx and load that book back.",
    "fuel": "Write octane and its scale (AKI, RON or MON) beside each fill, and on every delivery.",
    "reading": "Read its hour meter.",
    "rentals": "Look for rentals that were not written down.",
    "bench": "Measure compression or leak-down, and write the figures down by cylinder.",
}
"""What to do, in the order in which it helps: what nothing can be said without comes first."""
NO_ENGINE = "No hour it runs counts for any engine."
NO_SET = "Without it there is no life to tell a chance of."
NO_CALIBRATION = "There is no need to hold its fuel against."
ROWS_UNUSED = "{rows} of it could not be used."
NO_FILL = "No fill is on record."
UNLABELLED = "{share} of its litres have no octane on a stated scale."
HOURS_ON_RENTALS = "No good reading is on record: its hours rest on the rentals alone."
OLD_READING = "The last good reading is {days} days old."
UNEXPLAINED = "{share} of its meter's hours are on no rental."
NO_TEST = "No test since its piston set was fitted: a crack would not have shown."
"""Why a hull's record asks for it, in the order of the tasks."""
MORE_HULLS = "and {more} more hulls below"
ALL_ON_RECORD = (
    "Every hull in service has its engine, calibration, fuel, meter and tests on record."
)
REASON_OF_ONE = "{hull}: {why}"

ASIDE = "Rows set aside"
MEND = (
    "These rows count for nothing until they are mended. Open {book} in the home folder, put the "
    'cells right or write "leave out", and load the book back: {command}.'
)
LOAD_BACK = "ringland load set-aside.xlsx"
FAULT_HEADINGS = ("Records", "Rows", "What is wrong, for example", "What to do", "First one")
FAULT_LABELS = ("Records", "Rows", "For example", "What to do", "First one")
"""The same headings where each stands beside its figure on a narrow screen."""
FILE_AND_ROW = "{file}, row {row}"
NO_FAULT = "None that asks for anything."
REPEATED = (
    "{rows} more rows say again what is on record; the earlier row counts, and there is nothing "
    "to do."
)
ROWS_ADD_UP = "Rows in = loaded + set aside, by kind"
ROW_HEADINGS = ("Records", "In", "Loaded", "Set aside")

DOUBTS = "Doubts: rows that do not fit each other"
HULL_DOUBTS = "Doubts"
DOUBTS_NOTE = (
    "These rows are loaded; which of two is wrong the record cannot tell, so none was changed. All "
    "{doubts} with the key to correct them by: {table}. A row of a file named {file} puts one "
    "right."
)
NEWEST = "The newest {shown} of {all}."
NEWEST_ELSEWHERE = "The newest {shown} of {all}; all of them: {table}."
NONE = "None."

SCALES = "Octane numbers without a scale"
SCALES_NOTE = (
    '"91" may be AKI, RON or MON. These stay unresolved; until someone writes the scale, the fuel '
    "counts with the chances below, and with bounds that hold every scale."
)
SCALE_HEADINGS = ("Dock", "Number", "Rows", "AKI", "RON", "MON")
NO_DOCK = "no dock"
SCALES_SOURCE = (
    "From what pumps of the dock's country show, which grades are sold on each scale, and the "
    "dock's labelled rows (assumptions)."
)

HULLS = "Hull by hull"
HULL_HEADINGS = (
    "Hull",
    "Fuel labelled",
    "Meter hours on rentals",
    "Meter read",
    "Calibration",
    "Test",
    "Doubts, {days} days",
    "Next",
)
HULL_LABELS = (
    "Hull",
    "Fuel labelled",
    "Meter hours on rentals",
    "Meter read",
    "Calibration",
    "Test",
    "Doubts",
    "Next",
)
"""The same headings where each stands beside its figure on a narrow screen."""
YES, NO, NOTHING = "yes", "no", "nothing"
NEVER, NONE_ON_RECORD, AGO = "never", "none on record", "{days} ago"
NO_HULL = "No hull is in service."
WELL = "Nothing missing and no doubt in the last {days} days: {hulls}."

HOURS = "Its hours"
HOURS_PICTURE = (
    "Meter readings as shown, hours along the meters and by the rentals since the first reading, "
    "places where the line was carried on, and the difference of the two; the lists below hold the "
    "same facts."
)
HOURS_NOTE = (
    "Both lines begin at the first good reading. The difference is running on no rental's record, "
    "or a meter that counts with the key on."
)
NO_READING = "No good meter reading is on record: engine hours rest on the rentals alone."
MORE_ON_METERS = (
    "By {day} its meters had run {meters} h since the first reading, its rentals {rentals} h: "
    "{apart} h more on the meters."
)
LESS_ON_METERS = (
    "By {day} its meters had run {meters} h since the first reading, its rentals {rentals} h: "
    "{apart} h less on the meters."
)
CARRIED_ON = "Carried on"
CARRIED_ON_LINES = {
    "new meter": "a new meter, {meter}, showing {shown} h: the rentals' own hours carry on",
    "reset": "meter {meter} was set back to {shown} h: the rentals' own hours carry on",
    "rolled over": "meter {meter} came round to {shown} h and is followed on",
}
"""How the line of hours was carried on, by the kinds of repair."""
HOUR_LINES = {
    "along": "along its meters",
    "rentals": "by its rentals",
    "shown": "meter as shown",
    "left_out": "left out",
    "mended": "carried on",
    "residual": "difference",
}
"""What the picture of the hours calls its lines and marks."""
READ_AS = "read as {hours} h"
HOURS_AXIS, DIFFERENCE_AXIS = "hours", "difference, h"
IN_DOUBT = "Readings in doubt"

QUALITY = "How much is on record"
QUALITY_LABELS = {
    "engine": "Engine in it",
    "rental": "Last rental",
    "reading": "Last good meter reading",
    "on_meter": "Hours kept to the meter",
    "explained": "Meter's hours on its rentals",
    "labelled": "Litres with octane on a stated scale",
    "calibration": "Calibration on record",
    "test": "Compression or leak-down since its set was fitted",
}


def doubt_summary(label: str, recent: int, rows: int, days: str, hulls: int = 0) -> str:
    """How often a doubt came up, in a line.

    Args:
        label: what the doubt is called.
        recent: how many of late.
        rows: how many in all.
        days: how many days 'of late' are.
        hulls: on how many hulls; 0: not said.
    """
    on_hulls = f", on {count_text(hulls, 'hull')}" if hulls else ""
    return f"{label}: {recent} in the last {days} days, {rows} in all{on_hulls}"


def records_title(n_tasks: int) -> str:
    """The heading over a hull's records."""
    lacks = f": {count_text(n_tasks, 'thing')} to write down" if n_tasks else ""
    return f"Its records and hours{lacks}"
