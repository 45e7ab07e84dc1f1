"""Codes to print and stick on the hulls: a phone that scans one is at the hull's forms.

The symbol is ISO/IEC 18004's, at its level M of correction (about 15 % of it may be lost), which
a wet or scratched sticker needs.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from importlib.resources import files
from io import BytesIO
from urllib.parse import quote, urlsplit

import segno
import typst

from ringland.pages.frame.pdf_letters import FONTS, with_shown_letters

TITLE = "Hull codes"
FOOT = "Opens {address}, on the marina's network alone. Print at full size; replace a torn one."


def address_of(origin: str, hull_id: str) -> str:
    """Where a hull's code leads: the forms, begun at that hull."""
    return f"{origin}/write?hull={quote(hull_id, safe='')}"


def origin_of(address: str) -> str:
    """Scheme, host and port of an address.

    Raises:
        ValueError: it is none a phone could open.
    """
    try:
        parts = urlsplit(address.strip())
        is_whole = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        is_whole = False
    if not is_whole or parts.path not in ("", "/") or parts.query or parts.username:
        raise ValueError(
            f"'{address}' is no address of the server. Give it as 'ringland dockside' shows it, "
            f"e.g. https://shop.local:8421"
        )
    return f"{parts.scheme}://{parts.netloc}"


def hull_codes_pdf(
    hulls: Sequence[tuple[str, str]], origin: str, paper: str, at: datetime
) -> bytes:
    """Sheets of codes, eight on each, as PDF; the same hulls give the same bytes.

    Args:
        hulls: hull id and dock of each, in order.
        origin: where phones reach the server, as `origin_of` gives it.
        paper: 'a4' or 'us-letter'.
        at: the day written into the file.
    """
    codes = [
        {
            "hull": hull,
            "dock": dock,
            "address": address_of(origin, hull),
            "code": _symbol(address_of(origin, hull)),
        }
        for hull, dock in hulls
    ]
    data = {
        "paper": paper,
        "fonts": FONTS,
        "title": TITLE,
        "foot": FOOT.format(address=origin),
        "codes": codes,
    }
    made: object = typst.compile(  # type: ignore[call-overload]  # its types lag: a dict is taken
        {"main.typ": files("ringland.dockside").joinpath("hull_codes.typ").read_bytes()},
        format="pdf",
        sys_inputs={"sheet": json.dumps(with_shown_letters(data))},
        timestamp=at,
        ignore_system_fonts=True,
    )
    if not isinstance(made, bytes):
        raise TypeError("the PDF did not come back as bytes")
    return made


def _symbol(text: str) -> str:
    written = BytesIO()
    segno.make_qr(text, error="m").save(written, kind="svg", border=4, xmldecl=False)
    return written.getvalue().decode()
