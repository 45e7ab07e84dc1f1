"""The small pages before the work: signing in, taking up an invitation, trusting the server."""

from __future__ import annotations

from html import escape

STYLE = "/assets/board.css"


def sign_in_page(token: str, scanned: str = "", wrong: str = "") -> str:
    """The form that asks for name and password; `scanned` is the hull whose code was opened."""
    return framed(
        "Sign in",
        f"""<form method="post" action="/sign-in">
{_wrong(wrong)}{_token(token)}
<input type="hidden" name="hull" value="{escape(scanned)}">
<label>Name <input name="name" autocomplete="username" required autofocus></label>
<label>Password <input name="password" type="password" autocomplete="current-password"
 required></label>
<button>Sign in</button>
</form>
<p>No password yet? Ask the shop's owner for an invitation.</p>""",
    )


def join_page(token: str, name: str, secret: str, wrong: str = "") -> str:
    """The form by which somebody invited sets a password."""
    return framed(
        f"Welcome, {name}",
        f"""<form method="post" action="/join/{escape(secret)}">
{_wrong(wrong)}{_token(token)}
<input type="hidden" name="username" autocomplete="username" value="{escape(name)}">
<label>A password of your own <input name="password" type="password" minlength="10"
 maxlength="200" autocomplete="new-password" required autofocus></label>
<p>At least ten signs; a short sentence is best. Nobody at the shop can read it.</p>
<button>Begin</button>
</form>""",
    )


def trust_page(fingerprint: str) -> str:
    """How a phone is told to trust the shop's own authority."""
    return framed(
        "Trust this shop's server on your phone",
        f"""<p>Entries are kept on the phone while it is out of reach. For that the phone must trust
 the shop's own authority. Do it once for each phone, beside the shop's computer.</p>
<ol>
<li>Ask at the shop's computer for the fingerprint that <code>ringland dockside</code> shows. Go on
 only if it is this one:<br><code>{escape(fingerprint)}</code></li>
<li><a href="/authority.crt">Take the authority's certificate</a>.</li>
<li>iPhone, iPad: Settings, Profile Downloaded, Install; then Settings, General, About, Certificate
 Trust Settings: switch it on. Android: Settings, Security, Encryption and credentials, Install a
 certificate, CA certificate. Windows, Mac: open the file and put it among the trusted roots.</li>
<li>Close the browser, open this address again: there is no warning any more.</li>
</ol>
<p>The authority signs for this shop's computer only, by name and number. To take it back, remove it
 in the same settings.</p>""",
    )


def gone_page(words: str) -> str:
    """That a link or an invitation holds no more."""
    return framed("This link holds no more", f"<p>{escape(words)}</p>")


def framed(title: str, body: str) -> str:
    """A page with a heading and a body that is HTML already."""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(title)}</title><link rel="icon" href="data:,">
<link rel="stylesheet" href="{STYLE}"></head>
<body class="board"><main><h1>{escape(title)}</h1>
{body}
</main></body></html>
"""


def _wrong(words: str) -> str:
    return f'<p role="alert">{escape(words)}</p>\n' if words else ""


def _token(token: str) -> str:
    return f'<input type="hidden" name="token" value="{escape(token)}">'
