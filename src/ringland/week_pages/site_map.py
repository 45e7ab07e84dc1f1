"""Where each page stands in the navigation: a few groups, each with its own short list."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass


@dataclass(frozen=True)
class SitePage:
    """One entry: the names pages go by in `here`, the path, and what the list calls it."""

    names: tuple[str, ...]
    path: str
    label: str


@dataclass(frozen=True)
class SiteGroup:
    """One entry of the top line; its own list shows where it has more than one page."""

    label: str
    pages: tuple[SitePage, ...]


GROUPS = (
    SiteGroup("This week", (SitePage(("fleet",), "index.html", "This week"),)),
    SiteGroup(
        "Fuel",
        (
            SitePage(("fuel", "tank"), "fuel/index.html", "Dock by dock"),
            SitePage(("rules",), "fuel-rules.html", "What the cheap fuel costs"),
        ),
    ),
    SiteGroup(
        "Why engines broke", (SitePage(("causes",), "causes/index.html", "Why engines broke"),)
    ),
    SiteGroup("Was it right?", (SitePage(("score",), "score.html", "Was it right?"),)),
    SiteGroup(
        "How we know",
        (
            SitePage(("evidence",), "how-we-know.html", "Lives and effects"),
            SitePage(("docks",), "docks.html", "Docks side by side"),
            SitePage(("lineage",), "behind-the-effects.html", "Behind the effects"),
            SitePage(("card",), "model-card.html", "Model card"),
            SitePage(("settings",), "settings.html", "Numbers we chose"),
        ),
    ),
    SiteGroup(
        "Records",
        (
            SitePage(("records", "hull record"), "records/index.html", "What to mend and add"),
            SitePage(("dictionary",), "data-dictionary.html", "What records may say"),
        ),
    ),
)
"""At most six groups: more would not fit a phone."""


@dataclass(frozen=True)
class Entry:
    """A link of the navigation; `current` is 'page' on the page itself, 'true' in its group."""

    label: str
    path: str
    current: str | None


def navigation(here: str, paths: Collection[str]) -> tuple[list[Entry], list[Entry]]:
    """The top line, and the list of the group `here` stands in (empty where it is alone).

    Args:
        here: the name of the page being made; one that is in no group has no current entry.
        paths: the pages of this site; a group without any is left out.
    """
    top, own = [], []
    for group in GROUPS:
        pages = [page for page in group.pages if page.path in paths]
        if not pages:
            continue
        inside = any(here in page.names for page in pages)
        is_itself = len(pages) == 1 and here == pages[0].names[0]
        current = ("page" if is_itself else "true") if inside else None
        top.append(Entry(group.label, pages[0].path, current))
        if inside and len(pages) > 1:
            own = [
                Entry(
                    page.label,
                    page.path,
                    None if here not in page.names else "page" if here == page.names[0] else "true",
                )
                for page in pages
            ]
    return top, own
