"""What leaves the shop: tables, mail, bundle, customer's copy; inert, repeatable, nobody else's."""

import csv
import io
import re
import zipfile
from dataclasses import replace
from datetime import datetime

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.pages.digest.week_digest import WIDTH, digest_subject, digest_text
from ringland.pages.exports.week_exports import csv_bytes, export_tables, inert_cell, week_exports
from ringland.pages.papers.week_bundle import customer_copy, in_one_file, week_bundle
from ringland.pages.papers.zip_file import ZIP_EPOCH, zipped
from ringland.pages.site.report_page import build_site
from ringland.pages.week.week_report import WeekReport
from ringland.words.manner import Manner
from tests.decision.small_fleet import small_fleet

FORMULAS = ("=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3", "\t=1", "\r=1")
TAGGED = '<img src=x onerror="alert(1)">'


@pytest.fixture(scope="module")
def report() -> WeekReport:
    return small_fleet().report()


@pytest.fixture(scope="module")
def site(report: WeekReport) -> dict[str, bytes]:
    return build_site(report)


def hostile(report: WeekReport) -> WeekReport:
    """The report with formulas, tags and line breaks where a hull's texts stand."""
    sheets = [
        replace(
            sheet,
            dock_id=TAGGED,
            call={**sheet.call, "reason": f"{text}\nSubject: other\r\n<b>x</b>"},
            state={**sheet.state, "engine_id": text},
        )
        for sheet, text in zip(report.hulls, FORMULAS * 2, strict=True)
    ]
    return replace(report, hulls=tuple(sheets))


def test_every_hull_is_in_every_format_with_the_same_chance(
    report: WeekReport, site: dict[str, bytes]
) -> None:
    name = "chance of failure in 30 days (share of 1)"
    want = {sheet.hull_id: sheet.chance["chance_30d"] for sheet in report.hulls}
    parquet = pl.read_parquet(io.BytesIO(site["tables/hulls.parquet"]))
    workbook = pl.read_excel(io.BytesIO(site["tables/week.xlsx"]), sheet_name="hulls")
    lines = csv.DictReader(io.StringIO(site["tables/hulls.csv"].decode("utf-8-sig")))

    assert dict(parquet.select("hull", name).iter_rows()) == want
    assert dict(workbook.select("hull", name).iter_rows()) == pytest.approx(want)
    assert {
        line["hull"]: float(line[name]) if line[name] else None for line in lines
    } == pytest.approx(want)


def test_every_number_carries_its_unit_in_the_heading(report: WeekReport) -> None:
    counts = {"rank"}  # an order, not a quantity
    for name, table in export_tables(report).items():
        for column in table.columns:
            if table[column].dtype.is_numeric() and column not in counts:
                assert re.search(r"\(.+\)$", column), f"{name}: {column}"


def test_a_spreadsheet_computes_nothing_of_what_a_record_says(report: WeekReport) -> None:
    site = build_site(hostile(report))
    for row in csv.reader(io.StringIO(site["tables/hulls.csv"].decode("utf-8-sig"), newline="")):
        for cell in row:
            assert not cell.startswith(("=", "+", "@", "\t", "\r")), cell
            assert not re.match(r"-\D|-\d+[+*/]", cell), cell
    with zipfile.ZipFile(io.BytesIO(site["tables/week.xlsx"])) as book:
        sheets = [name for name in book.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) == 4
        for name in sheets:
            content = book.read(name)
            assert b"<f>" not in content
            assert b"<hyperlink" not in content
    engines = pl.read_excel(io.BytesIO(site["tables/week.xlsx"]), sheet_name="hulls")["engine"]
    assert set(FORMULAS[:4]) <= set(engines.to_list())


@given(st.text(max_size=20))
@settings(derandomize=True, deadline=None)
def test_text_in_a_csv_comes_back_but_for_the_mark_that_makes_it_inert(text: str) -> None:
    content = csv_bytes(pl.DataFrame({"a": [text], "b": ["x"]})).decode("utf-8-sig")
    read = list(csv.reader(io.StringIO(content, newline="")))[1]

    assert read == [inert_cell(text), "x"]
    assert read[0].removeprefix("'") == text.removeprefix("'")


def test_the_mail_says_what_to_do_first_and_leaves_nobody_out(report: WeekReport) -> None:
    text = digest_text(report)
    first = text.index("DO NOT RENT")

    assert text.startswith(digest_subject(report))
    assert "Invented demo data" in text[:first]
    for sheet in report.hulls:
        if sheet.call["call"] != "no_open_job":
            assert sheet.hull_id in text[first:]
    # The first line is the subject, which a mail program folds.
    assert max(len(line) for line in text.splitlines()[1:]) <= WIDTH


def test_no_text_of_a_record_can_add_a_line_or_a_tag_to_the_mail(report: WeekReport) -> None:
    site = build_site(hostile(report))
    text, page = site["mail/digest.txt"].decode(), site["mail/digest.html"].decode()

    assert not re.search(r"^Subject:", text, re.MULTILINE)
    assert "\r" not in text
    assert "<img" not in page
    assert "<b>" not in page
    assert "&lt;img src=x" in page
    assert "<script" not in page
    assert "\n" not in digest_subject(hostile(report))


def test_the_bundle_is_the_same_bytes_and_holds_pages_mail_and_tables(
    site: dict[str, bytes],
) -> None:
    again = build_site(small_fleet().report())
    bundle = week_bundle(site)

    assert week_bundle(again) == bundle
    with zipfile.ZipFile(io.BytesIO(bundle)) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == sorted(site)
        assert {info.date_time for info in archive.infolist()} == {ZIP_EPOCH}
        assert archive.read("index.html") == site["index.html"]


def test_the_order_of_files_does_not_change_a_zip() -> None:
    files = {"b": b"1", "a": b"2"}
    assert zipped(files) == zipped(dict(sorted(files.items())))


def test_a_customers_copy_names_no_other_hull_engine_or_dock(report: WeekReport) -> None:
    own = "H03"
    page = customer_copy(report, own).decode()
    # the drawing library is nobody's record, and holds any two letters
    told = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)

    for sheet in report.hulls:
        if sheet.hull_id != own:
            assert not re.search(rf"\b{sheet.hull_id}\b", told)
            assert f'"{sheet.hull_id}"' not in page
    assert own in told
    assert "north" not in told  # the other dock
    assert not re.search(r"\bE(?!3\b)\d+\b", told)
    assert "RINGLAND_FLEET" not in page  # the fleet's draws and prices
    assert "what-if" not in told.partition("</style>")[2]


def test_a_customers_copy_tells_no_middle_that_would_give_another_hull_away(
    report: WeekReport,
) -> None:
    whole = build_site(report)["hulls/H03.html"].decode()
    page = customer_copy(report, "H03").decode()
    said = re.sub(r"<(script|style)>.*?</\1>", "", page, flags=re.DOTALL)

    assert "(a typical hull here: " in whole
    assert "(a typical hull" not in said
    assert "Typical hull</th>" in whole
    assert "Typical hull" not in said
    assert 'class="middle"' not in said


def test_a_customers_copy_is_one_file_that_asks_for_nothing(report: WeekReport) -> None:
    page = customer_copy(report, "H03").decode()
    links = re.findall(
        r'\s(?:href|src)="([^"]*)"', re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    )

    assert all(link.startswith("#") for link in links)
    assert customer_copy(report, "H03").decode() == page
    # every script element that begins also ends: none is cut short by its own text
    assert page.count("<script") == page.count("</script>")


def test_a_page_that_leads_elsewhere_does_not_stand_alone() -> None:
    with pytest.raises(ValueError, match="does not stand alone"):
        in_one_file('<body><a class="x" href="../index.html">fleet</a></body>', {})


def test_a_hull_without_a_page_has_no_copy(report: WeekReport) -> None:
    with pytest.raises(ValueError, match="H99 has no page"):
        customer_copy(report, "H99")


def test_the_workbook_carries_the_reports_instant_not_the_clocks(site: dict[str, bytes]) -> None:
    with zipfile.ZipFile(io.BytesIO(site["tables/week.xlsx"])) as book:
        created = re.search(rb"<dcterms:created[^>]*>([^<]+)<", book.read("docProps/core.xml"))
    assert created is not None
    assert datetime.fromisoformat(created[1].decode()) == small_fleet().report().as_of


def test_tables_for_people_are_in_the_shops_units_and_those_for_programs_are_not(
    report: WeekReport,
) -> None:
    # 1 US gal = 3.785411784 l exactly (NIST SP 811, appendix B.8, from memory)
    there = Manner(units="us", number="1.234,5", date="Aug 17, 2026", time_zone="America/New_York")
    here, exports = week_exports(report), week_exports(replace(report, manner=there))
    name, told = "tables/docks", "burned (US gal)"
    litres = pl.read_parquet(io.BytesIO(here[f"{name}.parquet"]))["burned (l)"].to_list()
    rows = list(
        csv.DictReader(io.StringIO(exports[f"{name}.csv"].decode("utf-8-sig")), delimiter=";")
    )
    sheet = pl.read_excel(io.BytesIO(exports["tables/week.xlsx"]), sheet_name="docks")
    as_of = csv.DictReader(
        io.StringIO(exports["tables/hulls.csv"].decode("utf-8-sig")), delimiter=";"
    )

    assert exports[f"{name}.parquet"] == here[f"{name}.parquet"]
    assert [float(row[told].replace(",", ".")) for row in rows] == pytest.approx(
        [x / 3.785411784 for x in litres]
    )
    assert sheet[told].to_list() == pytest.approx([x / 3.785411784 for x in litres])
    assert {datetime.fromisoformat(row["as of (America/New_York)"]) for row in as_of} == {
        report.as_of
    }
