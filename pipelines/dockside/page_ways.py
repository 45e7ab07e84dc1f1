"""The routes of the entry forms, and of the worker that keeps them on a phone out of reach."""

import asyncio
from importlib.resources import files

from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from pipelines.dockside.asked import NOT_HERE, Asked, Way
from ringland.dockside.roles import NOBODY, ROLES, STAFF
from ringland.words.manner import in_manner


async def forms(asked: Asked) -> Response:
    """The list of forms, and what waits on this phone."""
    from ringland.dockside.form_pages import forms_page  # noqa: PLC0415 - starts in 3 s

    return HTMLResponse(forms_page(asked.person, asked.token))


async def form(asked: Asked) -> Response:
    """One form, for every hull the person may see."""
    from ringland.dockside.form_pages import form_page, forms_for  # noqa: PLC0415 - starts in 3 s
    from ringland.dockside.offers import known_of  # noqa: PLC0415

    name = asked.request.path_params["form"]
    found = next((one for one in forms_for(asked.person) if one.name == name), None)
    if found is None:
        raise HTTPException(404, NOT_HERE)
    ground, scope = await asked.ground(), await asked.scope()
    looked = asked.desk.looked_last
    jobs = looked.listed.jobs if looked and looked.listed else None
    known = await asyncio.to_thread(known_of, found, ground, scope, asked.person, jobs)
    with in_manner(asked.desk.home.manner()):
        return HTMLResponse(form_page(found, asked.person, asked.token, known))


async def worker(asked: Asked) -> Response:
    """The service worker; at the root, for it may answer only for what lies below itself."""
    del asked
    path = files("ringland.dockside").joinpath("assets", "worker.js")
    return Response(await asyncio.to_thread(path.read_bytes), media_type="text/javascript")


PAGE_WAYS = (
    Way("GET", "/write", forms, STAFF),
    Way("GET", "/write/{form}", form, STAFF),
    Way("GET", "/phone.js", worker, frozenset({*ROLES, NOBODY}), is_noted=False),
)
