"""What a route is handed with a request: who asks, what they may see, and the desk."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from pipelines.dockside.desk import Desk
from ringland.dockside.ground import Ground
from ringland.dockside.roles import Person, Scope, scope_of

if TYPE_CHECKING:
    from pipelines.dockside.gate import Gate


@dataclass(frozen=True)
class Asked:
    """One request.

    `person` asks, on `device`; `token` is what their pages must send with whatever they write.
    """

    request: Request
    desk: Desk
    gate: "Gate"
    person: Person
    device: str
    token: str

    @property
    def place(self) -> str:
        """The address the request came from."""
        return self.request.client.host if self.request.client else "?"

    async def form(self) -> dict[str, str]:
        """The fields of a form that was sent; of one sent twice the last."""
        body = (await self.request.body()).decode("utf-8", "replace")
        return dict(parse_qsl(body, keep_blank_values=True, max_num_fields=100))

    @staticmethod
    def hull_address(hull_id: str) -> str:
        """The address of a hull's page."""
        return f"/hull/{quote(hull_id, safe='')}"

    async def ground(self) -> Ground:
        """The records as they stand."""
        return await self.desk.ground()

    async def scope(self) -> Scope:
        """What the person may see of them."""
        return scope_of(self.person, await self.ground())

    async def hull(self) -> str:
        """The hull that the address names.

        Raises:
            HTTPException: there is none such, or it is not the person's to see: the same answer.
        """
        hull_id: str = self.request.path_params["hull_id"]
        ground, scope = await self.ground(), await self.scope()
        if hull_id not in set(ground.records["hulls"]["hull_id"]) or not scope.holds(
            "hulls", hull_id
        ):
            raise HTTPException(404, NOT_HERE)
        return hull_id


Answering = Callable[[Asked], Awaitable[Response]]
NOT_HERE = "There is no such page here."


@dataclass(frozen=True)
class Way:
    """A route, with the roles that may use it; there is none without."""

    method: str
    path: str
    answer: Answering
    roles: frozenset[str]
    is_noted: bool = True
    """whether the audit list says who used it"""
