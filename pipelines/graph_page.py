"""The Dagster page with its daemon, for this machine's own browser page and nobody else.

Dagster's webserver looks at neither host nor origin and takes queries on GET and in any form,
so that any web page open in the browser could load records or delete weeks through it.  Here
a request counts only if it was sent to this machine by name or number (not by a name that
somebody else's DNS points here), not by a page of another origin, and, if it asks for
something to be done, by POST as JSON, which no page of another origin can send unasked.
"""

import os
import subprocess
import sys
from collections.abc import Awaitable, Callable
from importlib.metadata import version
from typing import Any

import uvicorn
from dagster import DagsterInstance
from dagster._core.workspace.context import WorkspaceProcessContext
from dagster._core.workspace.load_target import ModuleTarget
from dagster_webserver.app import create_app_from_workspace_process_context

from pipelines.home import Home

HERE = "127.0.0.1"
_DEFINITIONS = "pipelines.definitions"
_LOOKS = {"GET", "HEAD"}
_REFUSED_SOCKET = 1008  # of RFC 6455: against the server's policy

App = Callable[[Any, Any, Any], Awaitable[None]]
"""An ASGI application."""


class OwnPageOnly:
    """An application that answers its own page, on this machine, and no other."""

    def __init__(self, app: App, port: int) -> None:
        """Stand before an application that is served on a port."""
        self.app = app
        self.hosts = {f"{HERE}:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass a request on, or refuse it."""
        refused = self.refused(scope) if scope["type"] in ("http", "websocket") else None
        if refused is None:
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": _REFUSED_SOCKET, "reason": refused})
        else:
            head = [(b"content-type", b"text/plain; charset=utf-8")]
            await send({"type": "http.response.start", "status": 403, "headers": head})
            await send({"type": "http.response.body", "body": refused.encode()})

    def refused(self, scope: Any) -> str | None:
        """Why a request is refused; None: it is not."""
        heads: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            heads.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        hosts, origins = heads.get("host", []), heads.get("origin", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return f"Ask for this page as http://{HERE}:PORT or http://localhost:PORT."
        if any(origin.lower() not in {f"http://{host}" for host in self.hosts}
               for origin in origins):  # fmt: skip
            return "A page of another origin asked; only this page's own requests are answered."
        if scope["type"] == "websocket":
            return None if origins else "A connection that does not tell its page is refused."
        if scope["method"] in _LOOKS:
            is_query = scope["path"].rstrip("/").endswith("/graphql")
            return "Queries are taken by POST as JSON only." if is_query else None
        form = heads.get("content-type", [""])[0].partition(";")[0].strip().lower()
        is_json = scope["method"] == "POST" and form == "application/json"
        return None if is_json else "Queries are taken by POST as JSON only."


def serve(home: Home, port: int) -> None:
    """Serve the page and run the schedule and the sensor until this is interrupted."""
    os.environ |= {
        "RINGLAND_HOME": str(home.folder),
        "DAGSTER_HOME": str(home.dagster),
        "DAGSTER_DISABLE_TELEMETRY": "1",
    }
    # The instance first: page and daemon begun at once in an empty folder both make its tables.
    with DagsterInstance.get() as instance:
        command = [sys.executable, "-m", "dagster._daemon", "run", "-m", _DEFINITIONS]
        daemon = subprocess.Popen(command)  # noqa: S603 - nothing in it comes from outside
        try:
            with WorkspaceProcessContext(
                instance,
                version=version("dagster"),
                workspace_load_target=ModuleTarget(_DEFINITIONS, None, None, None),
            ) as context:
                app = create_app_from_workspace_process_context(context)
                uvicorn.run(OwnPageOnly(app, port), host=HERE, port=port, log_level="warning")
        finally:
            daemon.terminate()
            daemon.wait()
