"""The routes by which entries come: checked while typing, and kept."""

import json
from collections import Counter
from typing import Any

from starlette.responses import JSONResponse, Response

from pipelines.dockside.asked import Asked, Way
from pipelines.dockside.desk import KEPT, REFUSED, Answer, TooMuchWaitsError
from ringland.dockside.entries import MOST_ENTRIES, EntryFault, StampedEntry, read_entry
from ringland.dockside.roles import ROLES, STAFF, may_not

ANYONE = frozenset({*ROLES, "nobody"})
_FULL = "The disk of the shop's computer takes no more: nothing of this is kept. Send it later."
_MUCH = "Too many entries wait for the disk. Send these again in a moment."


async def keep(asked: Asked) -> Response:
    """Entries, each kept, known already, or refused with its faults."""
    return await _entries(asked, keeps=True)


async def check(asked: Asked) -> Response:
    """The same, and nothing is kept."""
    return await _entries(asked, keeps=False)


async def _entries(asked: Asked, *, keeps: bool) -> Response:
    told = _told(await asked.request.body())
    if isinstance(told, Response):
        return told
    scope, now = await asked.scope(), asked.desk.now()
    answers: list[Answer] = []
    sent: list[StampedEntry] = []
    places: list[int] = []
    for place, one in enumerate(told):
        entry = read_entry(one)
        found = entry if isinstance(entry, list) else may_not(entry, asked.person, scope)
        answers.append(Answer(REFUSED, tuple(found)) if found else Answer(KEPT))
        if not found and not isinstance(entry, list):
            sent.append(StampedEntry(entry, asked.person.name, asked.device, now))
            places.append(place)
    try:
        outcomes = await asked.desk.submit(sent, keeps=keeps)
    except TooMuchWaitsError:
        return JSONResponse({"error": _MUCH}, 503, {"retry-after": "2"})
    except OSError:
        return JSONResponse({"error": _FULL}, 507)
    for place, outcome in zip(places, outcomes, strict=True):
        answers[place] = outcome
    if keeps:
        _note(asked, told, answers)
    ids = [one.get("id") if isinstance(one, dict) else None for one in told]
    lines = [_line(name, answer) for name, answer in zip(ids, answers, strict=True)]
    return JSONResponse({"answers": lines})


def _note(asked: Asked, told: list[object], answers: list[Answer]) -> None:
    """Note in the audit list how many of which kind were kept, and how many refused."""
    for outcome, did in ((KEPT, "wrote"), (REFUSED, "was refused")):
        kinds = Counter(
            str(one.get("kind"))[:40]
            for one, answer in zip(told, answers, strict=True)
            if answer.outcome == outcome and isinstance(one, dict)
        )
        if kinds:
            words = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
            asked.gate.note_words(asked, did, f"POST /entries: {words}")


def _told(body: bytes) -> list[object] | Response:
    try:
        told: Any = json.loads(body)
        entries = told["entries"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return JSONResponse({"error": "Send JSON: an object with a list 'entries'."}, 400)
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        return JSONResponse({"error": f"At most {MOST_ENTRIES} entries at once."}, 413)
    return entries


def _line(name: object, answer: Answer) -> dict[str, object]:
    return {
        "id": name if isinstance(name, str) else None,
        "outcome": answer.outcome,
        "faults": [_fault(one) for one in answer.faults],
    }


def _fault(one: EntryFault) -> dict[str, str]:
    return {"field": one.field, "message": one.message}


async def token(asked: Asked) -> Response:
    """What a page that was left open must send with its entries now."""
    return JSONResponse({"token": asked.token, "name": asked.person.name})


async def health(asked: Asked) -> Response:
    """Whether entries are answered; says nothing of the shop."""
    is_ready = asked.desk.is_ready
    return JSONResponse({"ready": is_ready}, 200 if is_ready else 503)


ENTRY_WAYS = (
    Way("POST", "/entries", keep, STAFF, is_noted=False),
    Way("POST", "/check", check, STAFF, is_noted=False),
    Way("GET", "/token", token, frozenset(ROLES), is_noted=False),
    Way("GET", "/healthz", health, ANYONE, is_noted=False),
)
