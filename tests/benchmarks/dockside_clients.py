"""Phones that ask a dockside server all at once, each on a connection of its own.

In a process of its own: python -m tests.benchmarks.dockside_clients PORT PATH FILE COUNT
FILE holds one request's entries a line; prints a line of JSON: seconds of each request, and the
outcomes of all entries.
"""

import asyncio
import json
import sys
import time
from collections import Counter
from pathlib import Path

HERE = "127.0.0.1"


async def client(  # noqa: PLR0917 - nobody else calls it
    port: int, path: str, token: str, bodies: list[bytes], took: list[float], told: Counter[str]
) -> None:
    """Send bodies one after another."""
    reader, writer = await asyncio.open_connection(HERE, port)
    for body in bodies:
        head = (
            f"POST {path} HTTP/1.1\r\nhost: {HERE}:{port}\r\ncontent-type: application/json\r\n"
            f"x-dockside-token: {token}\r\ncontent-length: {len(body)}\r\n\r\n"
        )
        begun = time.perf_counter()
        writer.write(head.encode() + body)
        answer = await reader.readuntil(b"\r\n\r\n")
        lines = answer.decode().lower().split("\r\n")
        length = next(int(line.split(":")[1]) for line in lines if line.startswith("content-len"))
        content = await reader.readexactly(length)
        took.append(time.perf_counter() - begun)
        assert lines[0].split()[1] == "200", (lines[0], content)
        told.update(one["outcome"] for one in json.loads(content)["answers"])
    writer.close()


async def asked(port: int, path: str, token: str, bodies: list[bytes], clients: int) -> None:
    """Let all clients ask at once."""
    took: list[float] = []
    told: Counter[str] = Counter()
    parts = [bodies[number::clients] for number in range(clients)]
    await asyncio.gather(*(client(port, path, token, part, took, told) for part in parts))
    sys.stdout.write(json.dumps({"took": took, "told": told}) + "\n")


if __name__ == "__main__":
    _, at, where, token_file, file, count = sys.argv
    lines = Path(file).read_bytes().splitlines()
    token_told = Path(token_file).read_text(encoding="ascii")
    asyncio.run(asked(int(at), where, token_told, lines, int(count)))
