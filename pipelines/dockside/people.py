"""Who may use the dockside server: members, invitations and links, in one file of the home.

Of passwords, invitations and links only hashes are kept.  Every change is written whole and
noticed by a server that runs at its next request, so that whoever is removed is out at once.
"""

import hashlib
import json
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

from filelock import FileLock

from pipelines.dockside.certificates import FOLDER
from pipelines.home import SESSIONS
from pipelines.whole_files import write_whole
from ringland.dockside.roles import DOCK_HAND, OPERATOR, READER, Person

if TYPE_CHECKING:
    from argon2 import PasswordHasher

PEOPLE = "people.json"
_LOCK = "people.lock"
SHORTEST_PASSWORD, LONGEST_PASSWORD = 10, 200
INVITED_FOR = timedelta(days=3)
LONGEST_NAME = 60


class PeopleError(ValueError):
    """What was asked for cannot be; the message says what to do."""


@dataclass(frozen=True)
class Member:
    """Somebody who signs in, or is invited to: then `invitation` is set and `password` empty."""

    id: str
    name: str
    role: str
    operator: str | None = None
    dock: str | None = None
    password: str = ""
    invitation: str = ""
    invited_until: str = ""

    def person(self) -> Person:
        """Who asks when they have signed in."""
        return Person(self.id, self.name, self.role, self.operator, self.dock)


@dataclass(frozen=True)
class HullLink:
    """A link by which anybody who has it reads one hull until it ends."""

    id: str
    secret: str
    hull_id: str
    until: str
    made_by: str

    def person(self) -> Person:
        """Who asks by it."""
        return Person(self.id, f"reader of {self.hull_id}", READER, hull=self.hull_id)


@dataclass(frozen=True)
class _Book:
    members: tuple[Member, ...] = ()
    links: tuple[HullLink, ...] = ()


@dataclass
class People:
    """The people of a home."""

    folder: Path
    _book: _Book = field(default_factory=_Book)
    _stamp: tuple[int, int, int] | None = None
    _lock: Lock = field(default_factory=Lock)

    @property
    def members(self) -> tuple[Member, ...]:
        """Those who sign in and those invited, as the file has them now."""
        return self._now().members

    @property
    def links(self) -> tuple[HullLink, ...]:
        """The links to hulls, ended ones too."""
        return self._now().links

    @property
    def is_set_up(self) -> bool:
        """Whether anybody must sign in."""
        return (self.folder / PEOPLE).exists()

    def find(self, person_id: str, now: datetime) -> Person | None:
        """A member who has a password, or the reader of a link that has not ended."""
        for member in self.members:
            if member.id == person_id and member.password:
                return member.person()
        for link in self.links:
            if link.id == person_id and now < datetime.fromisoformat(link.until):
                return link.person()
        return None

    def named(self, name: str) -> Member | None:
        """The member of a name; case does not matter."""
        wanted = name.strip().casefold()
        return next((one for one in self.members if one.name.casefold() == wanted), None)

    def invite(
        self, name: str, role: str, now: datetime, operator: str | None, dock: str | None
    ) -> str:
        """Invite somebody; the secret of the invitation, which is told once.

        Whoever has the name already gets a new invitation, and their password holds no more.

        Raises:
            PeopleError: the role needs an operator or a dock, or the name cannot be.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= LONGEST_NAME:
            raise PeopleError(f"A name has 1 to {LONGEST_NAME} letters.")
        if (role == OPERATOR) != bool(operator) or (role == DOCK_HAND) != bool(dock):
            raise PeopleError(
                "An operator needs --operator, a dock hand --dock, and nobody else has either."
            )
        secret = secrets.token_urlsafe(24)
        until = (now + INVITED_FOR).isoformat()
        fresh = Member(secrets.token_hex(8), name, role, operator, dock, "", hashed(secret), until)

        def change(book: _Book) -> _Book:
            others = [one for one in book.members if one.name.casefold() != name.casefold()]
            return replace(book, members=(*others, fresh))

        self._change(change)
        return secret

    def invited(self, secret: str, now: datetime) -> Member | None:
        """Whoever an invitation is for; None: it is none, was used or has ended."""
        wanted = hashed(secret)
        for member in self.members:
            if member.invitation == wanted and now < datetime.fromisoformat(member.invited_until):
                return member
        return None

    def join(self, secret: str, password: str, now: datetime) -> Member:
        """Use an invitation up: set the password of whoever it is for.

        Raises:
            PeopleError: the invitation holds no more, or the password is too short or too plain.
        """
        member = self.invited(secret, now)
        if member is None:
            raise PeopleError("This invitation holds no more. Ask the shop's owner for a new one.")
        if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
            raise PeopleError(
                f"A password has at least {SHORTEST_PASSWORD} signs; take a sentence."
            )
        if len(set(password)) < 5 or password.casefold() == member.name.casefold():
            raise PeopleError("That password is too easily guessed; take a sentence.")
        joined = replace(member, password=hasher().hash(password), invitation="", invited_until="")

        def change(book: _Book) -> _Book:
            if member not in book.members:
                raise PeopleError("This invitation was used meanwhile. Ask for a new one.")
            return replace(
                book, members=tuple(joined if one == member else one for one in book.members)
            )

        self._change(change)
        return joined

    def remove(self, name: str) -> None:
        """Take a member, or a link by its id, out; they are out at once.

        Raises:
            PeopleError: there is nobody of that name.
        """
        wanted = name.strip().casefold()

        def change(book: _Book) -> _Book:
            members = tuple(one for one in book.members if one.name.casefold() != wanted)
            links = tuple(one for one in book.links if one.id != wanted)
            if len(members) + len(links) == len(book.members) + len(book.links):
                raise PeopleError(f"There is nobody, and no link, called {name}.")
            return _Book(members, links)

        self._change(change)

    def link(self, hull_id: str, until: datetime, made_by: str) -> str:
        """Make a link to one hull; its secret, which is told once."""
        secret = secrets.token_urlsafe(24)
        made = HullLink(secrets.token_hex(8), hashed(secret), hull_id, until.isoformat(), made_by)
        self._change(lambda book: replace(book, links=(*book.links, made)))
        return secret

    def linked(self, secret: str, now: datetime) -> HullLink | None:
        """The link of a secret; None: it is none, was removed or has ended."""
        wanted = hashed(secret)
        for link in self.links:
            if link.secret == wanted and now < datetime.fromisoformat(link.until):
                return link
        return None

    def _now(self) -> _Book:
        with self._lock:
            stamp = self._stamp_now()
            if stamp != self._stamp:
                self._book, self._stamp = self._read(), stamp
            return self._book

    def _stamp_now(self) -> tuple[int, int, int] | None:
        try:
            found = (self.folder / PEOPLE).stat()
        except FileNotFoundError:
            return None
        return found.st_mtime_ns, found.st_size, found.st_ino

    def _read(self) -> _Book:
        path = self.folder / PEOPLE
        if not path.exists():
            return _Book()
        try:
            told = json.loads(path.read_bytes())
            if told.pop("digest", None) not in (None, _digest(told)):  # None: an older ringland's
                raise ValueError("its digest is another's")
            return _Book(
                tuple(Member(**one) for one in told["members"]),
                tuple(HullLink(**one) for one in told["links"]),
            )
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise PeopleError(
                f"{path} was changed or is damaged: {_REMEDY.format('move it away')}"
            ) from error

    def _change(self, change: Callable[[_Book], _Book]) -> None:
        with self._held():
            book = change(self._read())
            told = json.loads(json.dumps(asdict(book)))
            told["digest"] = _digest(told)
            text = json.dumps(told, ensure_ascii=False, indent=1)
            write_whole(self.folder / PEOPLE, text.encode())

    @contextmanager
    def _held(self) -> Iterator[None]:
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with FileLock(self.folder / _LOCK):
            yield


def people_fault(folder: Path) -> str | None:
    """Why nobody can sign in who could, with the step that mends it; None: nothing is wrong."""
    path = folder / PEOPLE
    if not path.exists() and ((folder / SESSIONS).exists() or (folder / FOLDER).exists()):
        return f"{path} is missing: {_REMEDY.format('leave it so')}"
    try:
        _ = People(folder).members
    except PeopleError as error:
        return str(error)
    return None


_REMEDY = (
    "nobody can sign in. Take it from a backup (ringland restore BACKUP --mend); without one, {} "
    "and invite everybody again (ringland dockside-people invite)"
)


def _digest(book: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(book, sort_keys=True).encode()).hexdigest()


def hashed(secret: str) -> str:
    """The hash by which a random secret is kept."""
    return hashlib.sha256(secret.encode()).hexdigest()


def hasher() -> "PasswordHasher":
    """What hashes passwords: Argon2id at the library's own costs."""
    from argon2 import PasswordHasher  # noqa: PLC0415

    return PasswordHasher()


def is_password(member: Member | None, password: str) -> bool:
    """Whether a password is a member's; takes as long where there is no such member."""
    from argon2.exceptions import Argon2Error, InvalidHashError  # noqa: PLC0415

    is_one = member is not None and bool(member.password)
    kept = member.password if is_one and member is not None else _nobodys()
    try:
        return hasher().verify(kept, password[:LONGEST_PASSWORD]) and is_one
    except (Argon2Error, InvalidHashError):
        return False


_NOBODYS: list[str] = []


def _nobodys() -> str:
    if not _NOBODYS:
        _NOBODYS.append(hasher().hash(secrets.token_urlsafe()))
    return _NOBODYS[0]
