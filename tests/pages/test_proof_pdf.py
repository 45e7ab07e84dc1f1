"""The proof's report as PDF/A-2b (ISO 19005-2), asked of programs that did not make it.

The validator is `page-validation` 0.11 (its rules are those of ISO 19005-2 by clause; its makers
hold it to the public veraPDF and Isartor test files); poppler is the second witness.
"""

import subprocess
from dataclasses import replace
from pathlib import Path

import page
import pytest

from ringland.pages.causes.cause_pages import AMBIGUOUS_END, cause_pdf
from ringland.reports.cause_report import cause_reports
from tests.outside_tools import program
from tests.pages.test_proof_bundle import pdf_text, photo
from tests.reports.test_cause_report import HOSTILE, shop

ARCHIVE = ("a-2b",)


def archived(complaint: str = "knocked", standards: tuple[str, ...] = ARCHIVE) -> bytes:
    of = replace(shop(complaint=complaint, photo="crown.jpg"), photos={"crown.jpg": photo()})
    made = cause_reports(of)[0]
    assert made.photos
    assert made.picture
    return cause_pdf(made, standards=standards)


@pytest.fixture(scope="module")
def report() -> bytes:
    return archived()


def faults(content: bytes) -> set[str]:
    told = page.validate_pdf_bytes(content, profile="2b")
    assert told.rules.total > 100
    return {fault.rule_id for fault in told.failures}


@pytest.mark.parametrize(
    "complaint",
    [
        "knocked, then down on power",
        HOSTILE,
        "Mo\N{LATIN SMALL LETTER O WITH STROKE}ller: \N{VULGAR FRACTION ONE HALF} l fehlt",
        "\N{KATAKANA LETTER E}\N{KATAKANA LETTER N} \N{GRINNING FACE} \x07\u202e",
        "\N{ARABIC LETTER AIN}\N{ARABIC LETTER TAH}\N{ARABIC LETTER LAM} \N{THAI CHARACTER KO KAI}",
    ],
)
def test_an_independent_validator_finds_no_fault(complaint: str) -> None:
    """A complaint in letters that the typeface lacks ended `ringland proof` with an error."""
    assert faults(archived(complaint)) == set()


def test_no_stream_of_the_archive_ends_where_a_validator_may_misread_its_length() -> None:
    """Two demo reports of 27 were refused: a stream of theirs ended in a carriage return."""
    made = {day: archived(f"knocked on day {day}") for day in range(12)}
    assert not [day for day, content in made.items() if AMBIGUOUS_END in content]


def test_the_validator_does_find_faults(report: bytes) -> None:
    assert faults(archived(standards=())) == {"PDFA2B-ID-SCHEMA-001"}
    for there, gone in (
        (b"/FontFile", b"/FontFilx"),
        (b"/ID[", b"/IX["),
        (b"aid:part>2", b"aid:part>1"),
    ):
        assert there in report
        assert faults(report.replace(there, gone)), there


def test_letters_that_the_typeface_lacks_are_told_by_their_number() -> None:
    """They were an empty box on the customer's paper, and nothing said so."""
    told = pdf_text(archived("\N{KATAKANA LETTER E} \N{GREEK SMALL LETTER MU}m", ()))
    assert "[U+30A8] \N{GREEK SMALL LETTER MU}m" in told
    assert "stand as their Unicode number" in told
    assert "Unicode number" not in pdf_text(archived("caf\N{LATIN SMALL LETTER E WITH ACUTE}", ()))


def test_a_second_program_sees_that_it_needs_nothing_that_is_not_in_it(
    report: bytes, tmp_path: Path
) -> None:
    """Fonts in the file, no script, no lock, no form, a colour profile of its own
    (ISO 19005-2, 6.2.11.4, 6.6.1, 6.1.3, 6.4.1, 6.2.3)."""
    file = tmp_path / "report.pdf"
    file.write_bytes(report)
    fonts, facts = (
        subprocess.run([program(name, "poppler-utils"), file], capture_output=True, check=True)
        .stdout.decode()
        .splitlines()
        for name in ("pdffonts", "pdfinfo")
    )
    assert len(fonts) > 2
    # the columns from the right: object generation and number, uni, sub, emb
    assert {line.split()[-5] for line in fonts[2:]} == {"yes"}
    told = {line.partition(":")[0]: line.partition(":")[2].strip() for line in facts}
    assert (told["JavaScript"], told["Encrypted"], told["Form"]) == ("no", "no", "none")
    assert b"/OutputIntents" in report
