"""What stands before every route: which requests are heard at all, and what every answer bears.

A request counts only if it was sent to this server by one of its own names (not by a name that
somebody else's DNS points here), not by a page of another origin, and with a body no larger
than an hour of entries.
"""

import hashlib
import re
from base64 import b64encode
from collections.abc import Awaitable, Callable, Mapping
from importlib.resources import files
from typing import Any

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Send

MOST_BODY_BYTES = 1_000_000
_LOOKS = {"GET", "HEAD"}
_OWN_PAGE = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
_REPORT = (
    "default-src 'none'; script-src 'self' {own}; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; font-src 'self' data:; connect-src 'none'; form-action 'none'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
"""Reports are files with scripts beside them; those may draw, but ask and send nothing."""
_IN_PAGE = re.compile(rb"<script>(.*?)</script>", re.DOTALL)
HEADS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with none, browsers send forms from origin 'null'
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
    "x-frame-options": "DENY",
}


def report_policy() -> str:
    """The policy of reports; the one script that a cause report holds itself is known by hash."""
    template = files("ringland.pages.causes").joinpath("cause_report.html.j2").read_bytes()
    digests = (hashlib.sha256(one).digest() for one in _IN_PAGE.findall(template))
    own = " ".join(f"'sha256-{b64encode(one).decode()}'" for one in digests)
    return _REPORT.format(own=own)


class Guard:
    """An application that answers its own pages only."""

    def __init__(self, app: ASGIApp, origins: frozenset[str], reports: tuple[str, ...]) -> None:
        """Stand before an application.

        Args:
            app: what answers.
            origins: the server's own, e.g. "http://127.0.0.1:8421", in lower case.
            reports: how paths of reports begin.
        """
        self.app, self.origins, self.reports = app, origins, reports
        self.report_policy = report_policy()
        self.hosts = {origin.partition("://")[2] for origin in origins}

    async def __call__(self, scope: Any, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        heads = _heads(scope)
        send = self._with_heads(scope["path"], send)
        refused = self.refused(scope["method"], heads)
        if refused is not None:
            await _tell(send, *refused)
            return
        await self.app(scope, _limited(receive), send)

    def refused(self, method: str, heads: Mapping[str, list[str]]) -> tuple[int, str] | None:
        """Status and words of why a request is refused; None: it is not."""
        hosts, origins = heads.get("host", []), heads.get("origin", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return 421, f"Ask for this page as one of: {', '.join(sorted(self.origins))}."
        if any(origin.lower() not in self.origins for origin in origins):
            return 403, "A page of another origin asked; only this server's own pages are answered."
        sites = heads.get("sec-fetch-site", [])
        if method not in _LOOKS and any(site not in ("same-origin", "none") for site in sites):
            return 403, "A page of another site asked; only this server's own pages are answered."
        length = heads.get("content-length", ["0"])[0]
        if not length.isdigit() or int(length) > MOST_BODY_BYTES:
            return 413, _TOO_LARGE
        return None

    def _with_heads(self, path: str, send: Send) -> Send:
        is_report = path.startswith(self.reports)
        told = {**HEADS, "content-security-policy": self.report_policy if is_report else _OWN_PAGE}

        async def with_heads(message: Message) -> None:
            if message["type"] == "http.response.start":
                had = {name.lower() for name, _ in message.get("headers", [])}
                told_last = (
                    told if b"cache-control" in had else {**told, "cache-control": "no-store"}
                )
                message["headers"] = [
                    *message.get("headers", []),
                    *((name.encode(), value.encode()) for name, value in told_last.items()),
                ]
            await send(message)

        return with_heads


_TOO_LARGE = f"At most {MOST_BODY_BYTES // 1_000_000} MB are taken at once; send fewer entries."


def _limited(receive: Receive) -> Receive:
    size = 0

    async def limited() -> Message:
        nonlocal size
        message = await receive()
        size += len(message.get("body", b""))
        if size > MOST_BODY_BYTES:
            raise HTTPException(413, _TOO_LARGE)
        return message

    return limited


def _heads(scope: Mapping[str, Any]) -> dict[str, list[str]]:
    heads: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        heads.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return heads


async def _tell(send: Callable[[Message], Awaitable[None]], status: int, words: str) -> None:
    head = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": words.encode()})
