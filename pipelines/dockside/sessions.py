"""Sessions: who has signed in on which device, until when; and how often a password was wrong."""

import json
import secrets
from collections import defaultdict
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from threading import Lock

from pipelines.dockside.people import hashed
from pipelines.home import SESSIONS
from pipelines.whole_files import write_whole

LASTS, IDLE = timedelta(days=14), timedelta(days=3)
"""A session ends after the first however much it is used, after the second unused."""
_NOTED_EVERY = timedelta(hours=1)
WRONG_FOR = timedelta(minutes=15)
MOST_WRONG, MOST_WRONG_OF_NAME, MOST_WRONG_FROM = 5, 50, 20
"""Wrong passwords in that time: of one name from one place, of one name, from one place."""


@dataclass(frozen=True)
class Session:
    """One device that signed in."""

    person_id: str
    begun_at: datetime
    seen_at: datetime

    def has_ended(self, now: datetime) -> bool:
        """Whether it has."""
        return now >= self.begun_at + LASTS or now >= self.seen_at + IDLE


class Sessions:
    """The sessions of a home: on disk, so that a server begun again knows its phones."""

    def __init__(self, folder: Path) -> None:
        self._path, self._lock = folder / SESSIONS, Lock()
        self._held: dict[str, Session] = {}
        with suppress(FileNotFoundError, ValueError, KeyError, TypeError, AttributeError):
            told = json.loads(self._path.read_bytes())  # damaged: everybody signs in again
            self._held = {key: _read(one) for key, one in told.items()}

    def begin(self, person_id: str, now: datetime, before: str | None) -> str:
        """Begin a session under a new secret, which is returned; the one of before ends."""
        secret = secrets.token_urlsafe(32)
        with self._lock:
            self._held = {key: one for key, one in self._held.items() if not one.has_ended(now)}
            if before is not None:
                self._held.pop(hashed(before), None)
            self._held[hashed(secret)] = Session(person_id, now, now)
            self._write()
        return secret

    def person_id(self, secret: str, now: datetime) -> str | None:
        """Whose session it is; None: there is none, or it has ended."""
        key = hashed(secret)
        session = self._held.get(key)
        if session is None or session.has_ended(now):
            return None
        if now - session.seen_at >= _NOTED_EVERY:
            with self._lock:
                self._held[key] = replace(session, seen_at=now)
                self._write()
        return session.person_id

    def end(self, secret: str) -> None:
        """End a session."""
        with self._lock:
            if self._held.pop(hashed(secret), None) is not None:
                self._write()

    def _write(self) -> None:
        told = {key: asdict(one) for key, one in self._held.items()}
        write_whole(self._path, json.dumps(told, default=datetime.isoformat).encode())


def _read(told: dict[str, str]) -> Session:
    return Session(
        told["person_id"],
        datetime.fromisoformat(told["begun_at"]),
        datetime.fromisoformat(told["seen_at"]),
    )


class Tries:
    """Wrong passwords of late, by name and by where they came from."""

    def __init__(self) -> None:
        self._wrong: dict[tuple[str, ...], list[datetime]] = defaultdict(list)

    def wait_s(self, name: str, place: str, now: datetime) -> int:
        """Seconds until the next try is heard; 0: now."""
        waits = [0.0]
        for mark, most in _marks(name, place):
            late = [at for at in self._wrong.get(mark, ()) if now - at < WRONG_FOR]
            if len(late) >= most:
                waits.append((late[-most] + WRONG_FOR - now).total_seconds())
        return -int(-max(waits) // 1)

    def was_wrong(self, name: str, place: str, now: datetime) -> None:
        """Note a wrong password."""
        for marks, kept in list(self._wrong.items()):
            if now - kept[-1] >= WRONG_FOR:
                del self._wrong[marks]
        for mark, most in _marks(name, place):
            self._wrong[mark] = [*self._wrong[mark][-most:], now]

    def was_right(self, name: str, place: str) -> None:
        """Forget the wrong ones of a name from where the right one came."""
        self._wrong.pop(_marks(name, place)[0][0], None)


def _marks(name: str, place: str) -> list[tuple[tuple[str, ...], int]]:
    name = name.strip().casefold()
    return [
        ((name, place), MOST_WRONG),
        (("name", name, ""), MOST_WRONG_OF_NAME),
        (("place", place, ""), MOST_WRONG_FROM),
    ]
