"""The routes of the live board, and of the files that the server's own pages draw with."""

import asyncio
import hashlib
from dataclasses import asdict
from importlib.resources import files
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response

from pipelines.dockside.asked import NOT_HERE, Asked, Way
from pipelines.dockside.desk import Drawn
from ringland.dockside.roles import NOBODY, ROLES, STAFF
from ringland.words.manner import in_manner

if TYPE_CHECKING:
    from ringland.dockside.live_board import Board

_FORMS = {".css": "text/css", ".js": "text/javascript"}


async def board(asked: Asked) -> Response:
    """The board as a page; that it is the same to whoever has it already.

    It is drawn once for each person and look: walls and phones ask every second.
    """
    from ringland.dockside.live_board import board_page  # noqa: PLC0415 - SciPy

    desk, looked = asked.desk, await asked.desk.looked()
    trouble = " ".join(filter(None, (desk.trouble, desk.unsent)))
    drawn = desk.drawn.get(asked.person)
    if drawn is None or drawn.looked is not looked or drawn.trouble != trouble:
        now = await _now(asked)
        page = board_page(now, asked.person, trouble, is_invented=desk.home.is_demo).encode()
        mark = f'"{hashlib.sha256(page).hexdigest()[:32]}"'
        drawn = desk.drawn[asked.person] = Drawn(looked, trouble, page, mark)
    if asked.request.headers.get("if-none-match") == drawn.mark:
        return Response(status_code=304, headers={"etag": drawn.mark})
    return HTMLResponse(drawn.page, headers={"etag": drawn.mark})


async def board_json(asked: Asked) -> Response:
    """The same as JSON."""
    desk, now = asked.desk, await _now(asked)
    told = {**asdict(now), "turn": desk.turns, "trouble": desk.trouble}
    for one in (*told["alerts"], *told["told"]):
        one["at"] = one["at"].isoformat()
    return JSONResponse(told)


async def _now(asked: Asked) -> "Board":
    from ringland.dockside.live_board import live_board  # noqa: PLC0415 - SciPy

    desk, looked = asked.desk, await asked.desk.looked()
    ground, scope = await asked.ground(), await asked.scope()
    with in_manner(desk.home.manner()):
        return live_board(ground, scope, looked, desk.now())


async def asset(asked: Asked) -> Response:
    """A style or script of the server's own pages."""
    name = asked.request.path_params["name"]
    kind = next((kind for ending, kind in _FORMS.items() if name.endswith(ending)), None)
    if kind is None or "/" in name or "\\" in name or name.startswith("."):
        raise HTTPException(404, NOT_HERE)
    file = files("ringland.dockside").joinpath("assets", name)
    if not await asyncio.to_thread(file.is_file):
        raise HTTPException(404, NOT_HERE)
    return Response(await asyncio.to_thread(file.read_bytes), media_type=kind)


BOARD_WAYS = (
    Way("GET", "/", board, STAFF),
    Way("GET", "/board.json", board_json, STAFF),
    Way("GET", "/assets/{name}", asset, frozenset({*ROLES, NOBODY}), is_noted=False),
)
