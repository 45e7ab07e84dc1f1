"""The graph's page answers its own browser page on this machine, and no other."""

import asyncio
from typing import Any

import pytest

from pipelines.graph_page import OwnPageOnly

OWN = {"host": "127.0.0.1:3000", "origin": "http://127.0.0.1:3000"}
JSON = {"content-type": "application/json"}


def asked(kind: str = "http", method: str = "GET", path: str = "/", **heads: str) -> list[Any]:
    """What a request is answered; 'passed on' where the application got it."""
    answered: list[Any] = []

    async def app(_scope: Any, _receive: Any, _send: Any) -> None:
        answered.append("passed on")

    async def send(message: Any) -> None:
        answered.append(message.get("status") or message.get("code") or message["type"])

    headers = [(name.replace("_", "-").encode(), value.encode()) for name, value in heads.items()]
    scope = {"type": kind, "method": method, "path": path, "headers": headers}
    asyncio.run(OwnPageOnly(app, 3000)(scope, None, send))
    return answered


REFUSED = [403, "http.response.body"]


def test_the_page_itself_and_its_queries_pass() -> None:
    assert asked(host="localhost:3000") == ["passed on"]
    assert asked(method="POST", path="/graphql", **OWN, **JSON) == ["passed on"]
    typed = {"content-type": "application/json; charset=utf-8", "host": "localhost:3000"}
    assert asked(method="POST", path="/graphql", **typed) == ["passed on"]
    assert asked("websocket", path="/graphql", **OWN) == ["passed on"]
    assert asked("lifespan") == ["passed on"]


@pytest.mark.parametrize(
    "host", ["evil.example:3000", "127.0.0.1.evil.example:3000", "", "[::1]:3000"]
)
def test_a_name_that_somebody_elses_dns_points_here_is_refused(host: str) -> None:
    assert asked(host=host) == REFUSED
    assert asked(method="POST", path="/graphql", host=host, **JSON) == REFUSED


@pytest.mark.parametrize("origin", ["https://evil.example", "null", "http://127.0.0.1:8080"])
def test_a_page_of_another_origin_is_refused(origin: str) -> None:
    """The graph's page took queries on GET from any origin."""
    foreign = {"host": "127.0.0.1:3000", "origin": origin}

    assert asked(method="POST", path="/graphql", **foreign, **JSON) == REFUSED
    assert asked("websocket", path="/graphql", **foreign) == [1008]
    assert asked("websocket", path="/graphql", host="127.0.0.1:3000") == [1008]


@pytest.mark.parametrize("path", ["/graphql", "/graphql/"])
def test_no_query_is_taken_on_get(path: str) -> None:
    assert asked(path=path, **OWN) == REFUSED


@pytest.mark.parametrize(
    "form", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
@pytest.mark.parametrize("path", ["/graphql", "/report_asset_materialization/pages/site"])
def test_what_a_form_of_another_page_can_send_is_refused(form: str, path: str) -> None:
    told = {"host": "127.0.0.1:3000", "content-type": form}

    assert asked(method="POST", path=path, **told) == REFUSED
