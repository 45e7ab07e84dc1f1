"""Serving: on which address, under which names, by which certificates; and until interrupted."""

import ipaddress
import logging
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import uvicorn

from pipelines.dockside.application import application
from pipelines.dockside.certificates import Authority, is_local, own_certificates
from pipelines.dockside.desk import Desk
from pipelines.dockside.gate import Gate
from pipelines.dockside.people import People, PeopleError
from pipelines.home import Home
from ringland.dockside.roles import OWNER

LOOPBACK = "127.0.0.1"
_HERE = (LOOPBACK, "localhost")
_LONGEST_REQUEST_S = 20


@dataclass(frozen=True)
class Place:
    """Where a server listens, the origins it answers to, and its certificate and key, if any."""

    host: str
    port: int
    origins: tuple[str, ...]
    certificate: Path | None = None
    key: Path | None = None
    authority: Authority | None = None

    @property
    def is_secure(self) -> bool:
        """Whether it speaks TLS."""
        return self.certificate is not None


def where(
    home: Home,
    host: str,
    port: int,
    now: datetime,
    names: tuple[str, ...] = (),
    own: tuple[Path, Path] | None = None,
) -> Place:
    """Where to listen.

    Args:
        home: the shop's home.
        host: an address of this machine; all of them: 0.0.0.0 or ::.
        port: the port.
        now: the time, for certificates.
        names: further names by which phones ask for it.
        own: certificate and key of the shop's own; else its authority signs one.

    Raises:
        PeopleError: the address is not this machine's alone and nobody has to sign in, or the
            list of who may is damaged.
    """
    is_alone, has_owner = _is_loopback(host), _has_owner(home)
    if not is_alone and not has_owner:
        raise PeopleError(
            "Off this machine the server answers only people who have signed in, and no owner has "
            "set a password yet. Run 'ringland dockside-people invite NAME --role owner', start "
            "'ringland dockside' without --host, open the invitation, then try again."
        )
    found = _names(host, names)
    if is_alone and own is None:
        return Place(host, port, tuple(f"http://{_bracketed(one)}:{port}" for one in found))
    origins = tuple(f"https://{_bracketed(one)}:{port}" for one in found)
    if own is not None:
        return Place(host, port, origins, *own)
    if strange := [one for one in found if not is_local(one)]:
        raise PeopleError(
            f"The shop's own authority signs for names of a local network only (NAME.local, "
            f"NAME.lan, addresses like 192.168.1.20), not for {strange[0]}. Name another, or give "
            f"--certificate and --key."
        )
    made = own_certificates(home.dockside, found, now)
    return Place(host, port, origins, made.certificate, made.key, made.authority)


def serve(home: Home, place: Place, started: Callable[[], None]) -> None:
    """Serve until interrupted; `started` is called once requests are heard.

    Raises:
        WarehouseError: another dockside server is at work on the home.
    """
    desk = Desk(home, lambda: datetime.now(UTC))
    gate = Gate(home, is_secure=place.is_secure, authority=place.authority)
    app = application(desk, gate, frozenset(origin.lower() for origin in place.origins))
    config = uvicorn.Config(
        app,
        host=place.host,
        port=place.port,
        http="h11",
        ws="none",
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        timeout_keep_alive=_LONGEST_REQUEST_S,
        limit_concurrency=1_000,
        timeout_graceful_shutdown=5,
        ssl_certfile=place.certificate,
        ssl_keyfile=place.key,
    )
    logging.getLogger("asyncio").setLevel(logging.CRITICAL)
    with suppress(KeyboardInterrupt):  # uvicorn hands it on once all is closed
        _Told(config, started).run()


class _Told(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._tell = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._tell()


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _has_owner(home: Home) -> bool:
    return any(one.role == OWNER and one.password for one in People(home.dockside).members)


def _names(host: str, names: tuple[str, ...]) -> list[str]:
    if _is_loopback(host):
        return sorted({host, *_HERE, *names})
    found = {*_HERE, *names, host} - {"0.0.0.0", "::"}  # noqa: S104 - taken out
    found |= {f"{socket.gethostname().split('.')[0].lower()}.local"}
    if host in ("0.0.0.0", "::"):  # noqa: S104 - asked for by name
        found |= set(_addresses())
    return sorted(found)


def _addresses() -> list[str]:
    """This machine's addresses as far as its own name tells them, without asking anybody."""
    try:
        told = socket.getaddrinfo(socket.gethostname(), None)
    except OSError:
        return []
    return [str(one[4][0]).partition("%")[0] for one in told]


def _bracketed(name: str) -> str:
    return f"[{name}]" if ":" in name else name
