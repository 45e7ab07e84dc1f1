"""A dockside server in a process of its own, and phones that enter fills into it."""

import http.client
import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import numpy as np

HERE = "127.0.0.1"
FIRST = datetime(2026, 8, 18, 6, tzinfo=UTC)


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as listening:
        listening.bind((HERE, 0))
        return int(listening.getsockname()[1])


def begin(
    home: Path, port: int, *, host: str = HERE, authority: bytes | None = None
) -> subprocess.Popen[bytes]:
    """A server of a home, once it answers entries; over TLS by an authority (DER), if named."""
    script = Path(sys.executable).with_name("ringland")
    command = [str(script), "--home", str(home), "dockside", "--port", str(port), "--host", host]
    env = os.environ | {"POLARS_MAX_THREADS": "2", "OMP_NUM_THREADS": "1"}
    process = subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL)
    while True:
        assert process.poll() is None, "the server did not begin"
        try:
            if asked(port, "GET", "/healthz", authority=authority)[0] == http.client.OK:
                return process
        except OSError:
            pass
        time.sleep(0.05)


@contextmanager
def server(
    home: Path, port: int, *, host: str = HERE, authority: bytes | None = None
) -> Iterator[subprocess.Popen[bytes]]:
    """The same for a block, ended at its end."""
    process = begin(home, port, host=host, authority=authority)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        process.wait(120)


def asked(
    port: int,
    method: str,
    path: str,
    body: object = None,
    token: str = "",
    *,
    authority: bytes | None = None,
) -> Any:
    """Status and JSON of one request on a connection of its own."""
    connection = http.client.HTTPConnection(HERE, port, timeout=60)
    if authority is not None:
        trusting = ssl.create_default_context(cadata=authority)
        connection = http.client.HTTPSConnection(HERE, port, timeout=60, context=trusting)
    try:
        heads = {"content-type": "application/json", "x-dockside-token": token}
        content = None if body is None else json.dumps(body).encode()
        connection.request(method, path, content, heads)
        told = connection.getresponse()
        return told.status, json.loads(told.read())
    finally:
        connection.close()


def token_of(port: int) -> str:
    """What entries must bear."""
    told: str = asked(port, "GET", "/token")[1]["token"]
    return told


def fill(hull: str, number: int, rng: np.random.Generator) -> dict[str, Any]:
    """A fill; no two of one hull and number's second are alike."""
    at = FIRST + timedelta(seconds=number)
    return {
        "id": str(UUID(bytes=rng.bytes(16), version=4)),
        "kind": "fills",
        "cells": {
            "hull_id": hull,
            "filled_at": at.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "volume_l": str(10 + number % 40),
            "source": "outside",
            "octane_aki": "91",
        },
        "written_at": at.isoformat(),
    }
