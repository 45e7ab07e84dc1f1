"""The dockside application: every route from one table, each with the roles that may use it."""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from hmac import compare_digest
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from pipelines.dockside.asked import Asked, Way
from pipelines.dockside.board_ways import BOARD_WAYS
from pipelines.dockside.desk import Desk
from pipelines.dockside.entry_ways import ENTRY_WAYS
from pipelines.dockside.gate import Gate
from pipelines.dockside.guard import Guard
from pipelines.dockside.page_ways import PAGE_WAYS
from pipelines.dockside.people_ways import PEOPLE_WAYS
from pipelines.dockside.report_ways import REPORT_WAYS
from pipelines.dockside.sign_in_ways import SIGN_IN_WAYS
from ringland.dockside.roles import NOBODY

WAYS: tuple[Way, ...] = (
    *ENTRY_WAYS, *PAGE_WAYS, *BOARD_WAYS, *REPORT_WAYS, *PEOPLE_WAYS, *SIGN_IN_WAYS
)  # fmt: skip
REPORTS = ("/week/",)
FORM_HEAD = "x-dockside-token"


def application(desk: Desk, gate: Gate, origins: frozenset[str]) -> Guard:
    """The application, to be served at these origins."""

    @asynccontextmanager
    async def at_work(_app: Starlette) -> AsyncIterator[None]:
        async with desk.at_work():
            yield

    routes = [Route(way.path, _guarded(way, desk, gate), methods=[way.method]) for way in WAYS]
    words = {HTTPException: _refusal, Exception: _fault}
    return Guard(
        Starlette(routes=routes, lifespan=at_work, exception_handlers=words), origins, REPORTS
    )


def _guarded(way: Way, desk: Desk, gate: Gate) -> Callable[[Request], Awaitable[Response]]:
    async def endpoint(request: Request) -> Response:
        asked = gate.asked(request, desk)
        if asked.person.role not in way.roles:
            gate.note(asked, way, "refused")
            return _sign_in_first(asked) if asked.person.role == NOBODY else _not_yours()
        if way.method not in ("GET", "HEAD") and not await _bears_token(asked):
            gate.note(asked, way, "refused")
            words = "This page is from before you signed in. Load it again, then send once more."
            return JSONResponse({"error": words, "code": "token"}, 403)
        try:
            answer = await way.answer(asked)
        except HTTPException as error:
            gate.note(asked, way, "saw" if way.method == "GET" else "wrote", error.status_code)
            raise
        if way.is_noted:
            gate.note(asked, way, "wrote" if way.method == "POST" else "saw", answer.status_code)
        return answer

    return endpoint


async def _bears_token(asked: Asked) -> bool:
    request = asked.request
    sent = request.headers.get(FORM_HEAD)
    if sent is None and request.headers.get("content-type", "").startswith(
        "application/x-www-form-urlencoded"
    ):
        sent = (await asked.form()).get("token")
    return sent is not None and compare_digest(sent.encode(), asked.token.encode())


def _sign_in_first(asked: Asked) -> Response:
    if asked.request.method == "GET" and "text/html" in asked.request.headers.get("accept", ""):
        scanned = asked.request.query_params.get("hull", "")
        where = f"/sign-in?hull={quote(scanned, safe='')}" if scanned else "/sign-in"
        return RedirectResponse(where, 303)
    return JSONResponse({"error": "Sign in first.", "code": "sign-in"}, 401)


def _not_yours() -> Response:
    return JSONResponse({"error": "Your sign-in does not open this.", "code": "role"}, 403)


async def _refusal(_request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return PlainTextResponse(error.detail, error.status_code, error.headers)


async def _fault(_request: Request, _error: Exception) -> Response:
    words = "Something went wrong on the shop's computer; nothing of this was kept."
    return PlainTextResponse(words, 500)
