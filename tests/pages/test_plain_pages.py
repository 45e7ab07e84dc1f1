"""Every page an operator reads, word by word: nothing of statistics, no column, nothing twice."""

import html
import re
from collections import Counter

import pytest

from ringland.pages.papers.hull_pdf import sheet_data
from ringland.pages.site.report_page import build_site
from tests.decision.small_fleet import small_fleet
from tests.pages.small_fuel import fuel_of
from tests.pages.small_proof import small_proof
from tests.pages.small_score import history
from tests.pages.small_state import small_state

FOR_OPERATORS = re.compile(
    r"index\.html|hulls/.*\.html|fuel/.*\.html|mail/.*|how-we-know\.html|score\.html"
)
"""The list, a hull's page with its tank and records, the docks' fuel, the mail, and the two
pages of proof outside the fold that names their methods; a row to mend names its column."""

METHODS = re.compile(r'<details[^>]*>\s*<summary><h2 id="methods">.*?</details>', re.DOTALL)

STATISTICS = re.compile(
    r"\bhazards?\b|covariate|coefficient|posterior|\bpriors?\b|weibull|likelihood|quantile|median|"
    r"\bthe draws\b|\bplays\b|\bmiddle\b|regression|brier|separation|\bbits\b|variance|bootstrap|"
    r"percentile|censor|\bmean\b|standard deviation|log odds|\bp-value",
    re.IGNORECASE,
)
COLUMN = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
FLAWED = (
    "Rent only with read out", "Rent only with leak-down", "pays at no age", "in the draws",
    "Rent as normal", "None known of", "As known on", "jobs jobs",
)  # fmt: skip
"""What the pages once said and nobody understood."""

CODE = re.compile(r"<(script|style|code)\b.*?</\1>", re.DOTALL)


def read(page: str) -> list[str]:
    """The pieces of text a reader sees, tag by tag, without what is folded for whoever checks."""
    shown = METHODS.sub(" ", CODE.sub(" ", page))
    pieces = re.sub(r"<[^<>]*>", "\n", shown).split("\n")
    return [text for piece in pieces if (text := " ".join(html.unescape(piece).split()))]


def faults(page: str) -> list[str]:
    """What of a page only a statistician or the program itself would say."""
    return [
        f"{found[0]}: {text[:120]}"
        for text in read(page)
        for found in (STATISTICS.search(text), COLUMN.search(text))
        if found
    ] + [said for said in FLAWED if said in page]


def said_twice(block: str) -> list[str]:
    """Sentences of some length that stand more than once in a hull's block."""
    text = " ".join(read(block))
    sentences = re.split(r"(?<=[.:]) (?=[A-Z])", text)
    return [one for one, n in Counter(sentences).items() if n > 1 and len(one) > 30]


@pytest.fixture(scope="module")
def site() -> dict[str, str]:
    fleet = small_fleet()
    made = build_site(
        fleet.report(),
        score=history(40, followed_d=90),
        proof=small_proof(fleet),
        fuel=fuel_of(fleet),
        records=small_state(fleet),
    )
    return {path: body.decode() for path, body in made.items() if FOR_OPERATORS.fullmatch(path)}


def test_no_page_an_operator_reads_names_a_statistic_or_a_column(site: dict[str, str]) -> None:
    """'3.9 times the middle hazard' and 'in 8 plays of 10' told nobody a thing."""
    assert len(site) > 12
    assert all("methods" in site[page] for page in ("how-we-know.html", "score.html"))
    assert {path: found for path, page in site.items() if (found := faults(page))} == {}


def test_no_hull_is_told_the_same_sentence_twice(site: dict[str, str]) -> None:
    """A reason that two jobs share stood twice in one row of the list."""
    rows = re.findall(r"<tr[^>]*data-hull.*?</tr>", site["index.html"], re.DOTALL)
    verdicts = [
        re.findall(r'<section class="verdict.*?</section>', page, re.DOTALL)[0]
        for path, page in site.items()
        if path.startswith("hulls/")
    ]

    assert len(rows) == len(verdicts) == 12
    assert [found for block in (*rows, *verdicts) if (found := said_twice(block))] == []


def test_a_sheet_on_paper_speaks_as_plainly() -> None:
    report = small_fleet().report()
    for sheet in report.hulls[:4]:
        told = sheet_data(report, sheet)
        texts = [told["reason"], told["chance_note"], told["drivers_note"], *told["changes"]]
        texts += [row["line"] for row in told["drivers"]] + [words for _, words in told["steps"]]
        assert [found for text in texts if (found := faults(str(text)))] == []


def test_the_reader_of_these_tests_finds_what_it_should() -> None:
    assert faults("<p>3.9 times the middle hazard; see full_throttle_25h</p>") != []
    assert faults("<p>Drain it, then fill with 93 AKI.</p>") == []
    twice = "<p>Its fuel is far below what it needs. Its fuel is far below what it needs.</p>"
    assert said_twice(twice) == ["Its fuel is far below what it needs."]
