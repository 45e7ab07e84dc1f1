"""Where each page stands in the navigation: a few groups, each with its own short list."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from ringland.words.site_words import GROUP_LABELS, PAGE_LABELS


@dataclass(frozen=True)
class SitePage:
    """One entry: the names pages go by in `here`, its own first, and the path."""

    names: tuple[str, ...]
    path: str

    @property
    def label(self) -> str:
        """What the list calls it."""
        return PAGE_LABELS[self.names[0]]


@dataclass(frozen=True)
class SiteGroup:
    """One entry of the top line; its own list shows where it has more than one page."""

    name: str
    pages: tuple[SitePage, ...]

    @property
    def label(self) -> str:
        """What the top line calls it."""
        return GROUP_LABELS[self.name]


GROUPS = (
    SiteGroup("week", (SitePage(("fleet",), "index.html"),)),
    SiteGroup(
        "fuel",
        (SitePage(("fuel",), "fuel/index.html"), SitePage(("rules",), "fuel-rules.html")),
    ),
    SiteGroup("causes", (SitePage(("causes",), "causes/index.html"),)),
    SiteGroup("score", (SitePage(("score",), "score.html"),)),
    SiteGroup(
        "proof",
        (
            SitePage(("evidence",), "how-we-know.html"),
            SitePage(("docks",), "docks.html"),
            SitePage(("lineage",), "behind-the-effects.html"),
            SitePage(("card",), "model-card.html"),
            SitePage(("settings",), "settings.html"),
        ),
    ),
    SiteGroup(
        "records",
        (
            SitePage(("records",), "records/index.html"),
            SitePage(("dictionary",), "data-dictionary.html"),
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
