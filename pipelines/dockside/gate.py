"""The gate: who asks, told by their session, and the audit list of what they did."""

import hashlib
import hmac
import secrets
from getpass import getuser

from starlette.requests import Request
from starlette.responses import Response

from pipelines.dockside.asked import Asked, Way
from pipelines.dockside.audit import Audit
from pipelines.dockside.certificates import Authority
from pipelines.dockside.desk import Desk
from pipelines.dockside.people import People, PeopleError
from pipelines.dockside.sessions import LASTS, Sessions, Tries
from pipelines.home import Home
from ringland.dockside.roles import NO_PERSON, OWNER, Person

_LONGEST_DEVICE = 120
_HIDDEN = "secret"
"""A part of an address of this name is no more written down than a password."""


class Gate:
    """Sessions, people and audit of a home, as the server's routes ask for them."""

    def __init__(
        self, home: Home, *, is_secure: bool = False, authority: Authority | None = None
    ) -> None:
        self.people, self.tries = People(home.dockside), Tries()
        self.sessions, self.audit = Sessions(home.dockside), Audit(home.dockside)
        self._secret, self._is_set_up = secrets.token_bytes(32), self.people.is_set_up
        self.is_secure, self.authority = is_secure, authority
        self.cookie = "__Host-dockside" if is_secure else "dockside"

    def asked(self, request: Request, desk: Desk) -> Asked:
        """What a route is handed."""
        secret = request.cookies.get(self.cookie)
        person = self._person(secret, desk)
        words = secret if secret and person.role != NO_PERSON.role else ""
        token = hmac.new(words.encode() or self._secret, b"form", hashlib.sha256).hexdigest()
        return Asked(request, desk, self, person, device_of(request), token)

    def _person(self, secret: str | None, desk: Desk) -> Person:
        # on this machine alone: see `serving.where`; a list that is lost lets nobody in
        self._is_set_up = self._is_set_up or self.people.is_set_up
        if not self._is_set_up:
            return Person("", getuser(), OWNER)
        person_id = self.sessions.person_id(secret, desk.now()) if secret else None
        try:
            return (self.people.find(person_id, desk.now()) if person_id else None) or NO_PERSON
        except PeopleError:  # the list is damaged; the check says what mends it
            return NO_PERSON

    def let_in(self, asked: Asked, person_id: str, answer: Response) -> None:
        """Begin a session of its own for whoever has just shown who they are."""
        before = asked.request.cookies.get(self.cookie)
        secret = self.sessions.begin(person_id, asked.desk.now(), before)
        answer.set_cookie(
            self.cookie,
            secret,
            max_age=int(LASTS.total_seconds()),
            path="/",
            secure=self.is_secure,
            httponly=True,
            samesite="lax",
        )

    def let_out(self, asked: Asked, answer: Response) -> None:
        """End the session of whoever asks."""
        secret = asked.request.cookies.get(self.cookie)
        if secret:
            self.sessions.end(secret)
        answer.delete_cookie(self.cookie, path="/", secure=self.is_secure, httponly=True)

    def note(self, asked: Asked, way: Way, did: str, status: int = 0) -> None:
        """Note what somebody did on a route, without what is secret in its address."""
        what = way.path
        for name, value in asked.request.path_params.items():
            shown = "..." if name == _HIDDEN else str(value)
            what = what.replace(f"{{{name}:path}}", shown).replace(f"{{{name}}}", shown)
        told = f"{way.method} {what}" + (f" ({status})" if status >= 400 else "")
        self.note_words(asked, did, told)

    def note_words(self, asked: Asked, did: str, what: str) -> None:
        """Note something in words."""
        who = asked.person.name or "nobody"
        self.audit.note(asked.desk.now(), who, asked.device, did, what)


def device_of(request: Request) -> str:
    """Where a request came from: its address, and what the browser calls itself."""
    place = request.client.host if request.client else "?"
    agent = request.headers.get("user-agent", "")
    plain = "".join(letter for letter in agent if letter.isprintable())
    return f"{place} {plain}"[:_LONGEST_DEVICE].strip()
