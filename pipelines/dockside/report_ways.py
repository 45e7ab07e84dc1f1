"""The routes to the reports: static files of the weeks that lie open, served as they are."""

import asyncio
from pathlib import Path, PurePosixPath

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, RedirectResponse, Response

from pipelines.dockside.asked import NOT_HERE, Asked, Way
from pipelines.home import SHARED, Home
from ringland.dockside.roles import MECHANIC, OWNER, ROLES

OF_NO_HULL = {"ringland.css", "charts.js", "folds.js", "what-if.js", "sketches.js"}
"""Files of a week that every hull's page draws with and that hold nothing of any."""


async def newest(asked: Asked) -> Response:
    """To the newest list."""
    week = await asyncio.to_thread(newest_week, asked.desk.home)
    return RedirectResponse(f"/week/{week}/index.html", 303)


async def report(asked: Asked) -> Response:
    """A file of a week: of all for who sees all, else of one's own hulls."""
    home, path = asked.desk.home, PurePosixPath(asked.request.path_params["path"])
    parts = path.parts
    if len(parts) < 2 or any(part in ("..", ".") or "\\" in part for part in parts):
        raise HTTPException(404, NOT_HERE)
    if asked.person.role not in (OWNER, MECHANIC) and parts[0] != SHARED:
        name = "/".join(parts[1:])
        if name not in OF_NO_HULL and name not in await _own_pages(asked):
            raise HTTPException(404, NOT_HERE)
    file = home.site.joinpath(*parts)
    if not await asyncio.to_thread(_lies_below, file, home.site):
        raise HTTPException(404, NOT_HERE)
    return FileResponse(file, headers={"cache-control": "private, no-cache"})


async def hull(asked: Asked) -> Response:
    """To a hull's page in the newest week."""
    hull_id = await asked.hull()
    week = await asyncio.to_thread(newest_week, asked.desk.home)
    page = (await _pages(asked))[hull_id]
    return RedirectResponse(f"/week/{week}/{page}", 303)


async def _pages(asked: Asked) -> dict[str, str]:
    from ringland.pages.site.site_frame import hull_pages  # noqa: PLC0415 - imports every page

    ids = (await asked.ground()).records["hulls"]["hull_id"]
    return await asyncio.to_thread(hull_pages, ids)


async def _own_pages(asked: Asked) -> set[str]:
    scope, pages = await asked.scope(), await _pages(asked)
    return {page for name, page in pages.items() if scope.holds("hulls", name)}


def newest_week(home: Home) -> str:
    """The folder of the newest week whose pages lie open.

    Raises:
        HTTPException: there is none yet.
    """
    open_weeks = [path.parent.name for path in home.site.glob("????-??-??/index.html")]
    if open_weeks:
        return max(open_weeks)
    raise HTTPException(404, "No week is worked out here yet. Run 'ringland week' first.")


def _lies_below(file: Path, folder: Path) -> bool:
    try:
        return file.is_file() and file.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError):
        return False


REPORT_WAYS = (
    Way("GET", "/week/", newest, frozenset({OWNER, MECHANIC})),
    Way("GET", "/week/{path:path}", report, frozenset(ROLES)),
    Way("GET", "/hull/{hull_id:path}", hull, frozenset(ROLES)),
)
