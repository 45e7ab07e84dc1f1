"""The owner's page of who may use the server: invitations, links to one hull, removal, audit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import segno

from ringland.dockside.roles import DOCK_HAND, MECHANIC, OPERATOR, OWNER
from ringland.dockside.sign_in_pages import framed

ROLES_INVITED = {
    OWNER: "owner: everything, and this page",
    MECHANIC: "mechanic: every hull, bench and releases",
    OPERATOR: "operator: the hulls of one operator",
    DOCK_HAND: "dock hand: one dock's hulls and tanks",
}
LINK_DAYS = (1, 7, 14, 30)
_NAMES = (
    '<nav><a href="/">Board</a> <a href="/people">People</a> '
    '<a href="/people/audit">Audit</a></nav>\n'
)
_CODE_PX = 4


@dataclass(frozen=True)
class Listed:
    """Somebody or a link as the page lists them; `key` is what removes them."""

    key: str
    name: str
    may: str
    state: str


@dataclass(frozen=True)
class Noted:
    """A line of the audit list."""

    at: str
    who: str
    did: str
    what: str
    device: str


def people_page(
    token: str,
    listed: Sequence[Listed],
    docks: Sequence[str],
    operators: Sequence[str],
    hulls: Sequence[str],
    *,
    is_begun: bool,
    said: str = "",
    wrong: str = "",
) -> str:
    """The page: who may use the server, and the forms that change it.

    Args:
        token: what the forms must send.
        listed: members, those invited and links.
        docks: by name, for a dock hand.
        operators: by name, for an operator.
        hulls: by name, for a link.
        is_begun: whether anybody must sign in already.
        said: what was done.
        wrong: why something was not done.
    """
    first = "" if is_begun else (
        "<p>Nobody has to sign in yet: the server answers this machine alone. Invite an owner "
        "first; from then on everybody signs in, you too.</p>\n"
    )  # fmt: skip
    rows = "\n".join(_row(token, one) for one in listed)
    heads = ("Who", "May see and write", "State", "Remove")
    table = _table("Who may use it", heads, rows) if listed else ""
    return framed(
        "People",
        f"""{_NAMES}{_told(said, wrong)}{first}{table}<section><h2>Invite</h2>
<form method="post" action="/people/invite">{_token(token)}
<label>Name <input name="name" required maxlength="60" autocomplete="off"></label>
<label>Role <select name="role" required>{_options(ROLES_INVITED)}</select></label>
<label>Of an operator: whose hulls <select name="operator">{_options(_or_none(operators))}</select>
</label>
<label>Of a dock hand: which dock <select name="dock">{_options(_or_none(docks))}</select></label>
<button>Invite</button>
</form>
<p>Whoever has that name already gets a new invitation, and their old password holds no more.</p>
</section>
<section><h2>A link to one hull</h2>
<form method="post" action="/people/link">{_token(token)}
<label>Hull <select name="hull">{_options({one: one for one in hulls})}</select></label>
<label>Ends after <select name="days">{_options({str(d): f"{d} days" for d in LINK_DAYS})}</select>
</label>
<button>Make the link</button>
</form>
<p>Whoever has the link reads that hull's page and nothing else, until it ends or is removed.</p>
</section>""",
    )


def secret_page(title: str, words: str, address: str) -> str:
    """What is shown once: the address of an invitation or a link, and its code to scan."""
    code = segno.make(address, error="m", micro=False)
    picture = code.svg_inline(scale=_CODE_PX, dark="#000", light="#fff", omitsize=False)
    return framed(
        title,
        f"""{_NAMES}<p><strong>{escape(words)}</strong></p>
<p><code>{escape(address)}</code></p>
<figure class="code" role="img" aria-label="The same address as a code to scan">{picture}</figure>
<p>It is shown this once; the server keeps no copy it could show again.</p>""",
    )


def audit_page(noted: Sequence[Noted], names: Sequence[str], who: str) -> str:
    """Who saw and wrote what of late, newest first; of one person, if named."""
    rows = "\n".join(
        f'<tr><th scope="row">{escape(one.at)}</th><td>{escape(one.who)}</td>'
        f"<td>{escape(one.did)}</td><td>{escape(one.what)}</td><td>{escape(one.device)}</td></tr>"
        for one in noted
    )
    chosen = {"": "everybody"} | {name: name for name in names}
    heads = ("When", "Who", "Did", "What", "Where from")
    return framed(
        "Audit",
        f"""{_NAMES}<form method="get" action="/people/audit">
<label>Of <select name="who">{_options(chosen, who)}</select></label><button>Show</button></form>
<p>The last {len(noted)} lines, newest first; times are UTC. The whole list is
<code>dockside/audit.jsonl</code> in the home.</p>
{_table("The list", heads, rows)}""",
    )


def _table(title: str, heads: Sequence[str], rows: str) -> str:
    """A table that is moved sideways on a phone, by the keyboard too."""
    told = "".join(f'<th scope="col">{head}</th>' for head in heads)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{title}">'
        f"<table><thead><tr>{told}</tr></thead>\n<tbody>\n{rows}\n</tbody></table></div>\n"
    )


def _row(token: str, one: Listed) -> str:
    return (
        f'<tr><th scope="row">{escape(one.name)}</th><td>{escape(one.may)}</td>'
        f"<td>{escape(one.state)}</td><td>"
        f'<form method="post" action="/people/remove">{_token(token)}'
        f'<input type="hidden" name="name" value="{escape(one.key)}">'
        f'<button aria-label="Remove {escape(one.name)}">Remove</button></form></td></tr>'
    )


def _or_none(names: Sequence[str]) -> dict[str, str]:
    return {"": "none"} | {name: name for name in names}


def _options(words: dict[str, str], chosen: str | None = None) -> str:
    return "".join(
        f'<option value="{escape(value)}"{" selected" if value == chosen else ""}>'
        f"{escape(shown)}</option>"
        for value, shown in words.items()
    )


def _told(said: str, wrong: str) -> str:
    told = f'<p role="status">{escape(said)}</p>\n' if said else ""
    return told + (f'<p role="alert">{escape(wrong)}</p>\n' if wrong else "")


def _token(token: str) -> str:
    return f'<input type="hidden" name="token" value="{escape(token)}">'
