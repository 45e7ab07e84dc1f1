"""The routes of the owner's page: who may use the server, and who saw and wrote what."""

import asyncio
from collections import deque
from datetime import datetime, timedelta

from starlette.responses import HTMLResponse, Response

from pipelines.dockside.asked import Asked, Way
from pipelines.dockside.audit import read_audit
from pipelines.dockside.people import INVITED_FOR, Member, PeopleError
from ringland.dockside.roles import DOCK_HAND, OPERATOR, OWNER

AUDIT_SHOWN = 200
_OWNER = frozenset({OWNER})


async def people(asked: Asked) -> Response:
    """Who may use the server."""
    return await _page(asked)


async def invite(asked: Asked) -> Response:
    """Invite somebody; the address of the invitation is shown this once."""
    from ringland.dockside.people_pages import ROLES_INVITED, secret_page  # noqa: PLC0415

    told, gate, now = await asked.form(), asked.gate, asked.desk.now()
    name, role = told.get("name", ""), told.get("role", "")
    operator, dock = told.get("operator") or None, told.get("dock") or None
    docks, operators, _ = await _named(asked)
    wrong = ""
    if role not in ROLES_INVITED:
        wrong = "Choose a role."
    elif not gate.people.is_set_up and role != OWNER:
        wrong = "Invite an owner first: once anybody is invited, everybody must sign in."
    elif role == OPERATOR and operator not in operators:
        wrong = "Choose whose hulls the operator sees."
    elif role == DOCK_HAND and dock not in docks:
        wrong = "Choose the dock hand's dock."
    elif _is_last_owner(asked, name) and role != OWNER:
        wrong = "Nobody else is an owner: invite another owner first."
    if wrong:
        return await _page(asked, wrong=wrong)
    try:
        secret = gate.people.invite(
            name, role, now, operator if role == OPERATOR else None,
            dock if role == DOCK_HAND else None,
        )  # fmt: skip
    except PeopleError as error:
        return await _page(asked, wrong=str(error))
    gate.note_words(asked, "invited", f"{name} as {role}")
    words = (
        f"For {name} alone: opens once, within {INVITED_FOR.days} days, and asks for a password."
    )
    return HTMLResponse(secret_page("Invitation", words, _address(asked, "join", secret)))


async def link(asked: Asked) -> Response:
    """Make a link by which whoever has it reads one hull; it is shown this once."""
    from ringland.dockside.people_pages import LINK_DAYS, secret_page  # noqa: PLC0415

    told = await asked.form()
    hull, days = told.get("hull", ""), told.get("days", "")
    _, _, hulls = await _named(asked)
    if hull not in hulls or days not in {str(one) for one in LINK_DAYS}:
        return await _page(asked, wrong="Choose a hull on record and after how long the link ends.")
    if not asked.gate.people.is_set_up:
        return await _page(asked, wrong="Invite an owner first: a link alone would shut you out.")
    until = asked.desk.now() + timedelta(days=int(days))
    secret = asked.gate.people.link(hull, until, asked.person.name)
    asked.gate.note_words(asked, "made a link", hull)
    words = f"Reads {hull} and nothing else, until {until:%Y-%m-%d %H:%M} UTC."
    return HTMLResponse(secret_page("Link", words, _address(asked, "see", secret)))


async def remove(asked: Asked) -> Response:
    """Take somebody, or a link, out at once."""
    name = (await asked.form()).get("name", "")
    if _is_last_owner(asked, name):
        return await _page(asked, wrong="Nobody else is an owner: invite another owner first.")
    try:
        asked.gate.people.remove(name)
    except PeopleError as error:
        return await _page(asked, wrong=str(error))
    asked.gate.note_words(asked, "removed", name)
    return await _page(asked, said=f"{name} is out, wherever they were signed in.")


async def audit(asked: Asked) -> Response:
    """Who saw and wrote what of late, newest first."""
    from ringland.dockside.people_pages import Noted, audit_page  # noqa: PLC0415

    who = asked.request.query_params.get("who", "")
    folder = asked.desk.home.dockside

    def read() -> tuple[list[Noted], list[str]]:
        kept: deque[dict[str, str]] = deque(maxlen=AUDIT_SHOWN)
        names = set()
        for one in read_audit(folder):
            names.add(one["who"])
            if who in ("", one["who"]):
                kept.append(one)
        shown = [
            Noted(one["at"][:19].replace("T", " "), one["who"], one["did"], one["what"],
                  one["device"])
            for one in reversed(kept)
        ]  # fmt: skip
        return shown, sorted(names)

    noted, names = await asyncio.to_thread(read)
    return HTMLResponse(audit_page(noted, names, who))


async def _page(asked: Asked, said: str = "", wrong: str = "") -> Response:
    from ringland.dockside.people_pages import Listed, people_page  # noqa: PLC0415

    book, now = asked.gate.people, asked.desk.now()
    docks, operators, hulls = await _named(asked)
    listed = [Listed(one.name, one.name, _may(one), _state(one, now)) for one in book.members]
    for one in book.links:
        has_ended = now >= datetime.fromisoformat(one.until)
        state = f"{'ended' if has_ended else 'ends'} {one.until[:16].replace('T', ' ')} UTC"
        made = f"{state}, made by {one.made_by}"
        listed.append(Listed(one.id, f"link {one.id[:6]}", f"reads {one.hull_id}", made))
    page = people_page(
        asked.token, listed, docks, operators, hulls,
        is_begun=book.is_set_up, said=said, wrong=wrong,
    )  # fmt: skip
    return HTMLResponse(page, 422 if wrong else 200)


async def _named(asked: Asked) -> tuple[list[str], list[str], list[str]]:
    """Docks, operators and hulls on record."""
    records = (await asked.ground()).corrected
    operators = {*records["hulls"]["operator"], *records["docks"]["operator"]}
    return (
        sorted(records["docks"]["dock_id"]),
        sorted(operators),
        sorted(records["hulls"]["hull_id"]),
    )


def _may(one: Member) -> str:
    bound = one.operator or one.dock
    role = one.role.replace("_", " ")
    return f"{role} of {bound}" if bound else role


def _state(one: Member, now: datetime) -> str:
    if one.password:
        return "has a password"
    has_ended = now >= datetime.fromisoformat(one.invited_until)
    words = "invitation ended" if has_ended else "invited until"
    return f"{words} {one.invited_until[:16].replace('T', ' ')} UTC"


def _is_last_owner(asked: Asked, name: str) -> bool:
    owners = [one for one in asked.gate.people.members if one.role == OWNER and one.password]
    member = asked.gate.people.named(name)
    return len(owners) == 1 and member is not None and member.id == owners[0].id


def _address(asked: Asked, what: str, secret: str) -> str:
    """Where the secret is opened, by the name this server was asked for under."""
    url = asked.request.url
    return f"{url.scheme}://{asked.request.headers['host']}/{what}/{secret}"


PEOPLE_WAYS = (
    Way("GET", "/people", people, _OWNER),
    Way("POST", "/people/invite", invite, _OWNER, is_noted=False),
    Way("POST", "/people/link", link, _OWNER, is_noted=False),
    Way("POST", "/people/remove", remove, _OWNER, is_noted=False),
    Way("GET", "/people/audit", audit, _OWNER),
)
