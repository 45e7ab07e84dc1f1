"""The routes to the reports: static files of the weeks that lie open, served as they are."""

import asyncio
from pathlib import Path, PurePosixPath

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from pipelines.dockside.asked import NOT_HERE, Asked, Way
from pipelines.home import SHARED, Home
from ringland.dockside.roles import MECHANIC, OWNER, ROLES
from ringland.words.manner import in_manner

OF_NO_HULL = {"ringland.css", "charts.js", "folds.js", "what-if.js", "sketches.js"}
"""Files of a week that every hull's page draws with and that hold nothing of any."""
_FRESH = {"cache-control": "private, no-cache"}
_DRAWS = "/charts.js"
"""What a page names that draws pictures."""
_STYLE = '<link rel="icon" href="data:,">\n<link rel="stylesheet" href="/assets/since.css">\n'


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
    if file.suffix == ".html" and parts[0] != SHARED:
        return HTMLResponse(await _with_since(asked, file, parts), headers=_FRESH)
    return FileResponse(file, headers=_FRESH)


async def _with_since(asked: Asked, file: Path, parts: tuple[str, ...]) -> str:
    """The page with what its list does not know yet, which the file itself never holds."""
    from ringland.dockside.since_then import (  # noqa: PLC0415
        beside_the_list,
        is_in,
        told_since,
    )
    from ringland.dockside.trend_section import trend_section  # noqa: PLC0415 - Plotly

    desk, looked = asked.desk, await asked.desk.looked()
    ground, scope, listed = await asked.ground(), await asked.scope(), looked.listed
    pages = {page: name for name, page in (await _pages(asked)).items()}
    hull_id = pages.get("/".join(parts[1:]))
    week = await asyncio.to_thread(newest_week, desk.home)
    as_of = listed.as_of if listed and parts[0] == week else None
    weeks = listed.weeks.get(hull_id) if listed and hull_id else None

    def written() -> str:
        page = file.read_text(encoding="utf-8")
        with in_manner(desk.home.manner()):
            told = told_since(ground, as_of, desk.now()) if as_of else []
            told = [one for one in told if is_in(one, scope)]
            aside = beside_the_list(
                as_of,
                [one for one in told if hull_id in (None, one.hull_id)],
                [
                    one
                    for one in looked.alerts
                    if scope.holds("hulls", one.hull_id) and hull_id in (None, one.hull_id)
                ],
                of_one_hull=hull_id is not None,
            )
            trend = trend_section(weeks, can_draw=_DRAWS in page) if weeks else ""
        page = page.replace("</head>", f"{_STYLE}</head>", 1)
        head, mark, rest = page.partition('<main id="main">')
        rest, end, foot = rest.rpartition("</main>")
        return f"{head}{aside}{mark}{rest}{trend}{end}{foot}" if mark and end else page

    return await asyncio.to_thread(written)


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
