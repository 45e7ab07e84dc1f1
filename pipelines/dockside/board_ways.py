"""The routes of the live board, and of the files that the server's own pages draw with."""

import asyncio
from dataclasses import asdict
from importlib.resources import files

from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response

from pipelines.dockside.asked import NOT_HERE, Asked, Way
from ringland.dockside.roles import NOBODY, ROLES, STAFF

_FORMS = {".css": "text/css", ".js": "text/javascript"}


async def board(asked: Asked) -> Response:
    """The board as a page."""
    from ringland.dockside.live_board import board_page, live_board  # noqa: PLC0415 - SciPy

    desk = asked.desk
    now = live_board(
        await asked.ground(), await asked.scope(), desk.listed, desk.alerts, desk.now()
    )
    trouble = " ".join(filter(None, (desk.trouble, desk.unsent)))
    page = board_page(now, asked.person, trouble, is_invented=desk.home.is_demo)
    return HTMLResponse(page)


async def board_json(asked: Asked) -> Response:
    """The same as JSON."""
    from ringland.dockside.live_board import live_board  # noqa: PLC0415 - SciPy

    desk = asked.desk
    now = live_board(
        await asked.ground(), await asked.scope(), desk.listed, desk.alerts, desk.now()
    )
    told = {**asdict(now), "turn": desk.turns, "trouble": desk.trouble}
    for one in (*told["alerts"], *told["told"]):
        one["at"] = one["at"].isoformat()
    return JSONResponse(told)


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
