"""A sentence of the wording with marked-up parts in its places, so that its order can change."""

from __future__ import annotations

from markupsafe import Markup, escape


def filled(sentence: str, **parts: object) -> Markup:
    """The sentence with each `{place}` filled; a part that is not `Markup` already is escaped.

    Args:
        sentence: fixed words of a page, as plain text.
        parts: by place; links and emphasis as the template's own markup, figures as text.

    Raises:
        KeyError: a place has no part.
    """
    return escape(sentence).format(**parts)
