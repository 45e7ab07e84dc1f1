"""Asks a dockside application in this process, as a browser would, without a socket."""

import asyncio
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from threading import Thread
from typing import Any
from urllib.parse import urlencode

from pipelines.dockside.application import FORM_HEAD, application
from pipelines.dockside.desk import Desk
from pipelines.dockside.gate import Gate
from pipelines.home import Home
from ringland.dockside.entries import Entry
from tests.dockside.small_shop import NOW

ORIGIN = "http://127.0.0.1:8421"
HOST = "127.0.0.1:8421"


@dataclass
class Told:
    """An answer."""

    status: int
    heads: list[tuple[str, str]]
    body: bytes

    def head(self, name: str) -> str | None:
        return next((value for key, value in self.heads if key == name), None)

    @property
    def json(self) -> Any:
        return json.loads(self.body)

    @property
    def outcomes(self) -> list[str]:
        return [one["outcome"] for one in self.json["answers"]]


@dataclass
class Clock:
    """The server's clock, which a test sets."""

    at: datetime = NOW

    def __call__(self) -> datetime:
        return self.at


@dataclass
class Served:
    """An application at work."""

    app: Any
    desk: Desk
    gate: Gate
    clock: Clock
    loop: asyncio.AbstractEventLoop

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: bytes = b"",
        heads: Mapping[str, str] | None = None,
        place: str = "127.0.0.1",
        raw: Sequence[tuple[bytes, bytes]] = (),
    ) -> Told:
        told = {"host": HOST} | dict(heads or {})
        listed = [(name.lower().encode(), value.encode("latin-1")) for name, value in told.items()]
        listed = [*listed, *raw]
        path, _, query = path.partition("?")
        scope = {
            "type": "http", "http_version": "1.1", "method": method, "path": path,
            "raw_path": path.encode(), "query_string": query.encode(), "headers": listed,
            "scheme": "http", "server": ("127.0.0.1", 8421), "client": (place, 50_000),
            "root_path": "",
        }  # fmt: skip
        sent: list[Any] = []
        parts = [body[at : at + 65_536] for at in range(0, len(body), 65_536)] or [b""]
        coming = [
            {"type": "http.request", "body": part, "more_body": at + 1 < len(parts)}
            for at, part in enumerate(parts)
        ]

        async def receive() -> Any:
            return coming.pop(0) if coming else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            sent.append(message)

        asyncio.run_coroutine_threadsafe(self.app(scope, receive, send), self.loop).result(120)
        heads_sent = [(k.decode().lower(), v.decode("latin-1")) for k, v in sent[0]["headers"]]
        whole = b"".join(one.get("body", b"") for one in sent[1:])
        return Told(sent[0]["status"], heads_sent, whole)

    def phone(self, place: str = "127.0.0.1") -> "Phone":
        return Phone(self, place)


@dataclass
class Phone:
    """One browser: it keeps its cookie, tells its origin, and sends its page's token."""

    served: Served
    place: str
    cookie: str = ""
    token: str = field(default="", repr=False)

    def get(self, path: str, **heads: str) -> Told:
        return self._heard(self.served.ask("GET", path, heads=self._own(heads), place=self.place))

    def post(self, path: str, told: object, **heads: str) -> Told:
        own = self._own({"origin": ORIGIN, "content-type": "application/json",
                         FORM_HEAD: self.token} | heads)  # fmt: skip
        body = json.dumps(told).encode()
        return self._heard(self.served.ask("POST", path, heads=own, body=body, place=self.place))

    def form(self, path: str, **fields: str) -> Told:
        own = self._own({"origin": ORIGIN, "content-type": "application/x-www-form-urlencoded"})
        body = urlencode({"token": self.token, **fields}).encode()
        return self._heard(self.served.ask("POST", path, heads=own, body=body, place=self.place))

    def entries(self, *entries: Entry, path: str = "/entries") -> Told:
        return self.post(path, {"entries": [as_json(one) for one in entries]})

    def look(self) -> "Phone":
        """Open the sign-in page, for its token."""
        page = self.get("/sign-in").body.decode()
        self.token = page.partition('name="token" value="')[2].partition('"')[0]
        return self

    def sign_in(self, name: str, password: str) -> Told:
        told = self.look().form("/sign-in", name=name, password=password)
        if told.status == 303:
            self.token = self.get("/token").json["token"]
        return told

    def join(self, secret: str, password: str) -> "Phone":
        self.look()
        told = self.form(f"/join/{secret}", password=password)
        assert told.status == 303, told
        self.token = self.get("/token").json["token"]
        return self

    def _own(self, heads: Mapping[str, str]) -> dict[str, str]:
        return ({"cookie": self.cookie} if self.cookie else {}) | dict(heads)

    def _heard(self, told: Told) -> Told:
        for name, value in told.heads:
            if name == "set-cookie":
                pair = value.partition(";")[0]
                self.cookie = "" if pair.endswith('=""') else pair
        return told


def as_json(one: Entry) -> dict[str, Any]:
    """An entry as a phone sends it."""
    return {"id": one.id, "kind": one.kind, "cells": dict(one.cells),
            "written_at": one.written_at.isoformat()}  # fmt: skip


@contextmanager
def serving(home: Home) -> Iterator[Served]:
    """The application of a home, at work on a loop in a thread of its own."""
    loop = asyncio.new_event_loop()
    thread = Thread(target=loop.run_forever)
    thread.start()
    clock = Clock()

    async def begin() -> tuple[Desk, Gate, Any]:
        desk = Desk(home, clock)
        gate = Gate(home)
        return desk, gate, application(desk, gate, frozenset({ORIGIN, "http://localhost:8421"}))

    def run(coroutine: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(coroutine, loop).result(120)

    try:
        desk, gate, app = run(begin())
        working = desk.at_work()
        run(working.__aenter__())
        try:
            yield Served(app, desk, gate, clock, loop)
        finally:
            run(working.__aexit__(None, None, None))
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()
