"""The routes by which people come in and go: signing in, invitations, links to one hull."""

import asyncio
from urllib.parse import quote

from starlette.responses import HTMLResponse, RedirectResponse, Response

from pipelines.dockside.asked import Asked, Way
from pipelines.dockside.people import PeopleError, is_password
from ringland.dockside.roles import NOBODY, ROLES
from ringland.dockside.sign_in_pages import gone_page, join_page, sign_in_page, trust_page

ANYONE = frozenset({*ROLES, NOBODY})
_AT_ONCE = asyncio.Semaphore(2)
"""A password takes 64 MB and a core's tenth of a second to hash."""
_ENDED = "It has ended, was used already, or was taken back. Ask the shop for a new one."


async def ask_name(asked: Asked) -> Response:
    """The form to sign in with."""
    return HTMLResponse(sign_in_page(asked.token, asked.request.query_params.get("hull", "")))


async def sign_in(asked: Asked) -> Response:
    """Let somebody in who knows their password; after some wrong ones only later."""
    told = await asked.form()
    name, password = told.get("name", ""), told.get("password", "")
    scanned = told.get("hull", "")
    gate, now, place = asked.gate, asked.desk.now(), asked.place
    member = gate.people.named(name)
    if wait_s := gate.tries.wait_s(name, place, now):
        gate.note_words(asked, "was kept out", "too many wrong passwords")
        words = f"Too many wrong passwords. Try again in {-(-wait_s // 60)} minutes."
        page = sign_in_page(asked.token, scanned, words)
        return HTMLResponse(page, 429, {"retry-after": str(wait_s)})
    gate.tries.was_wrong(name, place, now)  # until it is known to be right: tries may come at once
    async with _AT_ONCE:
        is_right = await asyncio.to_thread(is_password, member, password)
    if not is_right or member is None:
        known = member.name if member else "a name nobody has"
        gate.note_words(asked, "was kept out", f"wrong password for {known}")
        return HTMLResponse(sign_in_page(asked.token, scanned, "Name or password is wrong."), 403)
    gate.tries.was_right(name, place)
    answer = RedirectResponse(f"/write?hull={quote(scanned, safe='')}" if scanned else "/", 303)
    gate.let_in(asked, member.id, answer)
    gate.note_words(asked, "signed in", member.name)
    return answer


async def sign_out(asked: Asked) -> Response:
    """End the session."""
    answer = RedirectResponse("/sign-in", 303)
    asked.gate.let_out(asked, answer)
    return answer


async def ask_password(asked: Asked) -> Response:
    """The form of an invitation."""
    secret = asked.request.path_params["secret"]
    member = asked.gate.people.invited(secret, asked.desk.now())
    if member is None:
        return HTMLResponse(gone_page(_ENDED), 404)
    return HTMLResponse(join_page(asked.token, member.name, secret))


async def join(asked: Asked) -> Response:
    """Use an invitation up, and sign in with it."""
    secret, told = asked.request.path_params["secret"], await asked.form()
    gate, now = asked.gate, asked.desk.now()
    invited = gate.people.invited(secret, now)
    if invited is None:
        return HTMLResponse(gone_page(_ENDED), 404)
    try:
        async with _AT_ONCE:
            password = told.get("password", "")
            member = await asyncio.to_thread(gate.people.join, secret, password, now)
    except PeopleError as error:
        return HTMLResponse(join_page(asked.token, invited.name, secret, str(error)), 422)
    answer = RedirectResponse("/", 303)
    gate.let_in(asked, member.id, answer)
    gate.note_words(asked, "joined", member.name)
    return answer


async def read_by_link(asked: Asked) -> Response:
    """Let the reader of a link see its hull, until the link ends."""
    link = asked.gate.people.linked(asked.request.path_params["secret"], asked.desk.now())
    if link is None:
        return HTMLResponse(gone_page(_ENDED), 404)
    answer = RedirectResponse(asked.hull_address(link.hull_id), 303)
    asked.gate.let_in(asked, link.id, answer)
    asked.gate.note_words(asked, "came by a link", link.hull_id)
    return answer


async def trust(asked: Asked) -> Response:
    """How a phone comes to trust the shop's authority."""
    shown = asked.gate.authority
    if shown is None:
        return HTMLResponse(gone_page("This server has no authority of its own."), 404)
    return HTMLResponse(trust_page(shown.fingerprint))


async def authority(asked: Asked) -> Response:
    """The authority's certificate, which holds nothing secret."""
    shown = asked.gate.authority
    if shown is None:
        return HTMLResponse(gone_page("This server has no authority of its own."), 404)
    return Response(shown.certificate, media_type="application/x-x509-ca-cert")


SIGN_IN_WAYS = (
    Way("GET", "/sign-in", ask_name, ANYONE, is_noted=False),
    Way("POST", "/sign-in", sign_in, ANYONE, is_noted=False),
    Way("POST", "/sign-out", sign_out, frozenset(ROLES)),
    Way("GET", "/join/{secret}", ask_password, ANYONE),
    Way("POST", "/join/{secret}", join, ANYONE, is_noted=False),
    Way("GET", "/see/{secret}", read_by_link, ANYONE, is_noted=False),
    Way("GET", "/trust", trust, ANYONE, is_noted=False),
    Way("GET", "/authority.crt", authority, ANYONE, is_noted=False),
)
