"""What the bench form says: its fields, its choices, and what it asks for before it saves."""

from __future__ import annotations

TITLE = "Bench form: what was found and measured"
INVENTED = "{label}: the engines offered are not real."
HOW_IT_WORKS = (
    "Works without network. What you enter, photos too, stays on this device until you clear the "
    'form. Everything starts as "not looked at": that is an answer too.'
)
ENGINE, OPENED, CYLINDERS = "Engine serial", "Opened at (this device's time)", "Cylinders"
LOOKED_BY = "Looked at by (your name)"

STATES = {"seen": "seen", "not_seen": "not seen", "not_looked_at": "not looked at"}
"""The states of a finding, by their names in the Teardowns contract."""

ALL_FINDINGS = "All findings, by part"
READINGS = "Readings"
APART, TOGETHER = "of the engine as it came apart", "of the engine going together: the build sheet"
READINGS_OF = "These readings are"
READINGS_NOTE = (
    "Only what goes together can accept a rebuild: a reading of the old part never does. Leave "
    "empty what was not measured."
)
READ_AT = "Read at (this device's time)"
BAROMETER, BAROMETER_IS = "Air pressure", "That figure is"
STATION, SEA_LEVEL, NOT_TOLD = "the air at this bench", "from a weather report", "not told"
WARM = "Engine when tested"
WARM_STATES = (("", "not told"), ("true", "warm"), ("false", "cold"))
FILES, FILES_NOTE = "Files", "If one did not arrive, tap it here."

NEXT = "Look at these next"
NEXT_NOTE = "What would tell most about the cause, by what is entered so far."
OWN_WORDS = "Anything else"
OWN_WORDS_NOTE = (
    "In your own words. It is kept as written, and listed in the report as not in the cause table."
)
ADD, CLEAR, SAVE = "Add a finding", "Clear the form", "Save the file"

SCRIPT = {
    "extentUnknown": "extent not given",
    "extentOf": "{finding}: extent",
    "stateOf": "{finding}: {state}",
    "photos": "photo file names; separate by ;",
    "photosOf": "{finding}: photo file names",
    "pickPhotosOf": "{finding}: pick photos to take their names",
    "wholeEngine": "whole engine",
    "cylinder": "cylinder {number}",
    "at": "{finding}, {place}",
    "restNotSeen": "I looked at all of this part: the rest was not seen",
    "own": "Own finding {number}",
    "ownPlace": "Own finding {number}: place",
    "part": "Part",
    "lookedFor": "What was looked for",
    "state": "state",
    "tally": "{seen} seen, {looked} of {all} looked at",
    "seen": "{seen} seen",
    "noEngine": "Enter the engine serial.",
    "noTime": "Enter when it was opened.",
    "inFuture": "It cannot have been opened in the future: check the time.",
    "halfOwn": "A finding of your own needs both part and words.",
    "noReadTime": "Enter when it was read.",
    "readInFuture": "It cannot have been read in the future: check the time.",
    "noHand": "A reading of the build sheet needs your name: it is signed with it.",
    "noNumber": "{reading}: '{text}' is no number.",
    "photoNotKept": "{photo} does not fit on this device's shelf: save the file before you close "
    "this page.",
    "photoGone": "{photo} was picked before this page was closed and is no longer held here: "
    "pick it again, or send it by hand.",
    "reading": "{words}, {place}",
    "unitOf": "{reading}: unit",
    "methodOf": "{reading}: how it was measured",
    "method": "how, with which tool",
    "references": {"vacuum": "blanked pad that day", "leak": "supply, where not in %"},
    "referenceOf": "{reading}: {reference}",
    "notDone": "not done",
    "port": "cylinder {number}, {side}",
    "clearAll": "Clear everything entered?",
}
"""What the form's script says while it is filled in, by the names it asks for them by."""

OPENED_COMMENT = "With its zone, e.g. 2025-07-01T09:00Z"
"""Beside the cell of the spreadsheet."""
