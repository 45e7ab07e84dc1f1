"""What the cause reports and their list say: parts, headings, labels, notes and sentences."""

from __future__ import annotations

from ringland.words.number_words import count_text

INDEX_TITLE = "Cause reports"
INDEX_LEAD = "One report per failure on record, latest first."
BENCH_FORM = "Bench form for the next teardown"
WITHOUT_NETWORK = "(works on a phone without network)"
NEWEST_AS_PDF = (
    "The newest {newest} stand as PDF too, with a form for their readings; older ones print from "
    "their page."
)
INDEX_HEADINGS = ("Engine", "Found", "In short", "PDF")
PDF, PRINT_ITS_PAGE = "PDF", "print its page"
NO_FAILURE = "No failure is on record."

TITLE = "Why engine {engine} broke"
AS_PDF = "This report as PDF"
IN_SHORT = "In short"

PARTS = (
    "Job and serials",
    "Complaint",
    "Measured before it was opened",
    "Found, by cylinder",
    "What it means",
    "Causes, ranked",
    "What the record says",
    "What cannot be known",
    "What must be done, why, and what it costs",
    "Prevention",
    "Acceptance readings",
    "Break-in, next check, kept parts, disposal",
)
"""The twelve parts, in order."""

HEADINGS = {
    "job": ("Item", "On record"),
    "measured": ("Test", "Day", "Place", "Reading", "Verdict", "Why", "Limit is"),
    "settle": ("Not looked at yet", "Part", "How much it would tell"),
    "record": (
        "Factor",
        "This engine",
        "Bounds",
        "A typical hull here",
        "Above this share of fleet",
        "Times the risk of a typical hull",
        "Share of the difference",
    ),
    "work": ("Work", "Why", "Because of", "Parts", "Hours", "Basis"),
    "options": ("Option", "Price now", "Such jobs cost", "What it leaves", "What neglect adds"),
    "evidence": ("What", "Number", "Of", "Seal, result", "Kept, calibrated", "By"),
    "acceptance": (
        "Stage",
        "Check",
        "Place",
        "Maker's limits, new build",
        "Before",
        "Read",
        "Verdict",
        "By",
    ),
}
"""Headings of the report's tables, by the part of the report they show."""

FOLDS = {
    "job": "Serials, hours and dates",
    "measured": "All {n} readings",
    "found": "All {n} things looked for, by cylinder",
    "photos": "Photos ({n})",
    "notes": "What the readings did over time, {n} notes",
    "causes": "Less likely: {names}",
    "unknowable": "And {n} more limits of this record",
    "evidence": "Evidence: {support} for, {contradiction} against",
    "settle": "How much each would tell",
    "record": "Figures and picture",
    "work": "The work, {n} steps with their reasons",
    "options": "All {n} options, with price, range and what neglect adds",
    "acceptance": "All {n} lines of the sheet",
    "after": "Break-in and next check, step by step",
    "kept": "All {n} things kept",
}
"""What a page folds away on screen; on paper all of it is open."""
JOB_IN_SHORT = "{engine}; hull {hull}; {set}."
NOT_PASSED = "{test}, {place}, {day}: {reading}, {verdict}."
ALL_PASSED = "None of its {n} latest readings failed."
NAME_AND_CHANCE = "{name} ({chance})"
MORE_NOT_PASSED = "and {more} more, in the table."
SEEN_IN = "{part}: {finding} ({where})."
WHOLE_ENGINE = "whole engine"
NONE_SEEN = "None of the {n} things looked for was seen."
SETTLE_SHORT = "Look at, most telling first: {findings}."

JOB_LABELS = {
    "engine": "Engine",
    "induction": "Induction",
    "cylinders": "Cylinders",
    "hull": "Hull",
    "set": "Piston set",
    "found": "Found",
    "known_good": "Last known good",
    "rebuilt": "Rebuilt",
}
ENGINE_FAMILY = "{engine}, family {family}"
NO_SET = "none on record for this failure"
SET = "{set}, {piston_type}, {grade}, {hours} engine hours"
FOUND_HOW = "{day}, {how}"
NO_REBUILD = "no rebuild on record"

NO_COMPLAINT = "No complaint is on record."

HOW_FOUND = {
    "ran_to_failure": "ran to failure",
    "inspection": "found at an inspection",
    "teardown": "found when opened",
}
MODE = "{mode}, {how} on {day}."
ONLY_USUAL = (
    "Nothing that was seen speaks for {mechanism}; it would lead only because the shop sees it "
    "most: too little to name a cause."
)
NO_CAUSE_NAMED = "What was found does not name a cause."
FIRST_CAUSE = "The findings speak most for {cause!r} ({chance})."
THEN = ", {second} ({second_chance})."
NOT_ESTABLISHED = "{mechanism} ({chance}), driver not established: {against}."
NOTHING_TELLS = "nothing that was looked at speaks for one of its drivers"
RECORD_LEANS = "The record by itself speaks for {causes}."
RECORD_LEANS_TOO = "The record speaks as well for {causes}, which no test was made of."
SEVERAL_DRIVERS = (
    "{mechanism} ({chance}). Tests speak for {drivers}; what was found does not say which of them "
    "broke it, or whether it took them together."
)
DRIVER_AND_CHANCE, AND = "{cause!r} ({chance})", " and "
TEST_AND_RECORD = (
    "Of {cause!r} the test and the record say opposite things: one of them is wrong or not "
    "complete. Find out which before anyone is blamed."
)
SETTLED = "The shop settled on {cause!r} on {day}."
SETTLED_ELSE = "The findings by themselves lean elsewhere; they are weighed below."
SETTLED_AGAINST = (
    "Driver not established: what the shop settled on stands against its own test or the record."
)
TEST_AGAINST = "{finding} ({state}) speaks against {cause!r}"
RECORD_AGAINST = "the record speaks against {cause!r}"
CHANCE_NOT_NAMED = "not named: its own test or the record speaks against it"
THEN_CAUSE, THEN_OPEN = "then for {cause!r}", "the next most likely is that the cause stays open"
WHAT_TO_DO = "{proposed} Price: {price}; such jobs: {spread}."

UNDER, OVER, ABOUT = "under 5 %", "over 95 %", "about {percent} %"
"""A chance that rests on opinions."""

NO_TEST = "No test of this piston set is on record. That is not the same as a good test."
CYLINDER, ENGINE = "cyl {number}", "engine"
AT_PORT = "{place}, {port}"
OK_NO_NUMBER = "ok, no number"
NO_LIMIT = "no limit applied"

NOTHING_FOUND = "Nothing is entered for this engine."
FOUND_HEADINGS = ("Part", "Looked for", "Cyl {number}", "Whole engine")
"""The third stands once for each cylinder."""
WITH_EXTENT = "{state}, {extent}"
NOT_LOOKED_AT = (
    "{never} of the {all} findings of the cause table were not looked at or not entered; none of "
    "these counts as 'not seen'."
)
PHOTO = "Photo {name}"
PHOTOS_MISSING = "Photos named but not given, or not readable: {names}."

MODE_MEANS = "Mode, what broke: {mode}."
MECHANISM = "Mechanism, from the findings: {mechanism} ({chance})."
NO_MECHANISM = "Mechanism: the findings do not carry one."
CAUSE_MEANS = (
    "Cause, why it was overloaded: ranked below. One mechanism can have several causes, and the "
    "findings alone often cannot tell them apart."
)

STANDING = "{chance}; before findings {share}; mechanism: {mechanism}"
SHARE_MOVED = "{share} ({table} without this shop's settled cases)"
NONE_NAMED = "none named"
FOR, AGAINST = "Speaks for it", "Speaks against it"
SHARED = "And {n} findings of {mechanism}, whichever its driver, as under {rank}."
NEITHER = "No finding speaks for or against it."
EVIDENCE = "{finding}: {state} ({strength}; {basis})"
STRONG, MODERATE, SLIGHT = "strong", "moderate", "slight"
MOVED_BY_CASES = "{basis}, moved by this shop's settled cases: seen in {seen} of {looked}"
RECORD_BESIDE = "Record, beside the findings"
NO_BETTER = "Findings no cause of the table explains better."
OTHER_CAUSES = "All others: {chance} together."
SETTLE = "What would settle it best"

NOT_ESTIMATED = "not estimated"
HAZARD = "{ratio} ({low} to {high})"
FROM_TO = "{low} to {high}"
YES, NO = "yes", "no"
PICTURE = "Margin and compression in one picture"
PICTURE_SHOWS = (
    "Left: octane margin of each rental over the last engine hours, with the failure marked. "
    "Right: compression of each cylinder as a share of the highest, by date."
)
PICTURE_IN_SHORT = "Octane margin of each rental before the failure; compression by cylinder"
MARGIN_PANEL = ("Octane margin of each rental", "engine hours of the piston set", "octane numbers")
COMPRESSION_PANEL = ("Compression by cylinder", "share of the highest")
"""Titles of the picture's two panels and their axes."""
MET_NEED, BELOW_NEED, NOT_ON_RECORD = "met the need", "below need", "not on record"
NO_RENTAL_DRAWN, NO_TEST_DRAWN = "no rental on record", "no test on record"
GAPS = "Gaps in the record"

OPINIONS = (
    "The chances rest on weights that are opinions, moved by {settled} case(s) this shop has "
    "settled. They order the causes; they are not frequencies."
)
NOT_INDEPENDENT = (
    "Findings on one engine are not independent; taken as such they make the first cause look "
    "surer than it is."
)
TESTS_MISS = (
    "A good compression or leak-down reading before the failure does not clear a land that was "
    "already cracked; how often the tests miss one is not known."
)
NO_PROOF = (
    "That an exposure goes with failure in this fleet does not prove that it caused this one."
)
OCTANE_UNKNOWN = "The octane of {share} of the fuel of its last engine hours."
CONTRADICTORY = "Which of the contradictory entries above is right."

OPTIONS = "Options"
READINGS_FORM = "These readings as a spreadsheet to fill in and load"
BREAK_IN = "Break-in: common practice, no source; the maker's book comes first."


def as_a_spreadsheet(cylinders: int) -> str:
    """How the bench form for engines of so many cylinders is offered."""
    return f"as a spreadsheet, {count_text(cylinders, 'cylinder')}"


FROM_READING = "{finding}: {state}, from {reading}{more}."
READING_AGAINST_ENTRY = (
    "{finding}: the readings say {state} ({reading}{more}), the teardown says otherwise; the "
    "teardown counts until it is settled."
)
ONE_READING = "{measure}{place} on {day}, {reading}"
OF_PLACE = " of cyl {number}"
MORE_READINGS = " and {more} more"
STATE_WORDS = {"seen": "seen", "not_seen": "not seen", "not_looked_at": "not looked at"}

CHAIN = "An order of events that fits: {links}. {why}"
THEN_LINK = ", then "
CHAIN_OPEN = "Between them, not looked at: {links}."

ASK_WORDS = "Not in the cause table, kept as written: {finding}. {ask}"
DID_YOU_MEAN = "Did it mean {words}?"
ADD_WORDS = "Add its words to the cause table, or enter one it knows."


LETTERS_LACKING = (
    "Letters that this paper's typeface lacks stand as their Unicode number, as [U+30A8]; the page "
    "and the records hold them as they were written."
)
EVIDENCE_KEPT = "Evidence kept"
EVIDENCE_KINDS = {
    "fuel_sample": "Fuel sample",
    "part_kept": "Part kept",
    "photo": "Photo",
    "instrument": "Instrument",
    "document": "Paper",
}
OF_CYLINDER = "{about}, cyl {cylinder}"
SEAL = "seal {seal}"
NOTHING_WRITTEN = "not written"
CALIBRATED, NOT_CALIBRATED = "last calibrated {day}", "calibration not on record"
TAKEN_BY, NO_NAME = "{name}, {day}", "no name"
EXAMINED_BY = "Looked at by: {names}."
NOBODY_NAMED = "Who looked is not on record."
SETTLED_BY = "The cause was settled by {name} on {day}."
MISSING_EVIDENCE = {
    "fuel_sample": "No fuel sample is on record.",
    "part_kept": "No part is on record as kept.",
    "instrument": "What it was measured with is not on record.",
}
SIGNATURES = (
    "For the shop: ______________________________   Date: ______________",
    "For the customer, who has received this report: ______________________________   "
    "Date: ______________",
)
UNUSED_CASES = (
    "{count} settled case(s) of this shop name a cause the table does not hold, and count for "
    "nothing."
)
