"""What stands around every page of the site: navigation, notices, the label of a range bar."""

from __future__ import annotations

from ringland.words.number_words import chance_text, share_text

LANGUAGE = "en"
"""The language of all wording, as HTML's `lang` and the browser's sorting name it (BCP 47)."""

SKIP = "Skip to the content"
ABOUT_THE_DATA = "About the data"
INVENTED = "{label}: no real fleet, shop or person."
AS_KNOWN = "Records to {instant}"
NOT_DRAWN = "To have this picture on paper, let it come into view once before printing."
WHAT_CHANGED = "What changed, and why"
PAGES, PAGES_OF_THIS_PART = "Pages", "Pages of this part"

GROUP_LABELS = {
    "week": "This week",
    "fuel": "Fuel",
    "causes": "Why engines broke",
    "score": "Was it right?",
    "proof": "How we know",
    "records": "Records",
}
"""The top line of the navigation, by the names `site_map` gives its groups."""

PAGE_LABELS = {
    "fleet": "This week",
    "fuel": "Dock by dock",
    "rules": "What the cheap fuel costs",
    "causes": "Why engines broke",
    "score": "Was it right?",
    "evidence": "Lives and effects",
    "docks": "Docks side by side",
    "lineage": "Behind the effects",
    "card": "Model card",
    "settings": "Numbers we chose",
    "records": "What to mend and add",
    "dictionary": "What records may say",
}
"""What the list of a group calls each page, by the name the page goes by."""


def bar_label(low: float, value: float, high: float, middle: float | None, top: float) -> str:
    """What a range bar shows, for whoever hears the page.

    Args:
        low: low end of the range, a chance.
        value: the estimate.
        high: high end of the range.
        middle: the fleet's middle; None where the bar has no mark of it.
        top: end of the bar's scale.
    """
    beside = "" if middle is None else f", a typical hull here {chance_text(middle)}"
    return (
        f"{chance_text(value)}, range {chance_text(low)} to {chance_text(high)}{beside}; "
        f"scale from 0 to {share_text(top)}"
    )
