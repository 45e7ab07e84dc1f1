import html
import io
import re
import subprocess
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import numpy as np
import polars as pl
import pytest
from PIL import Image

from ringland.bench.bench_limits import default_bench_limits
from ringland.causes.cause_table import default_cause_table
from ringland.causes.cause_words import PARTS
from ringland.contracts.fuel_tables import Spells
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.contracts.record_tables import BenchVerdicts
from ringland.decision.actions.action_prices import prices
from ringland.pages.causes.cause_pages import (
    build_cause_site,
    cause_page,
    cause_pdf,
)
from ringland.rebuilds.rebuild_comparison import builds_after_rebuild, compare_rebuilds
from ringland.reports.cause_case import ShopRecord
from ringland.reports.cause_charts import date_ticks
from ringland.reports.cause_photos import shown_photo
from ringland.reports.cause_report import CauseReport, cause_reports
from ringland.settings.assumptions import load_assumptions
from tests.causes.cause_rows import OPENED, START, lives, sessions, teardown
from tests.outside_tools import program

FOUND = OPENED - timedelta(days=2)
HOSTILE = '<script>alert(1)</script> #panic("x") *bold* $1$ [a](b) \\ @cite =2+2'


def picture(form: str = "PNG") -> bytes:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "a secret place"  # the description field
    Image.new("RGB", (2400, 30), "red").save(out, format=form, exif=exif)
    return out.getvalue()


PNG = picture()


def frame(kind: str, *rows: dict[str, object]) -> pl.DataFrame:
    schema = {name: c.dtype for name, c in RECORD_KINDS[kind].schema.columns().items()}
    return pl.DataFrame(list(rows), schema=schema)


def shop(
    complaint: str | None = "knocked, then down on power",
    engine_id: str = "E-P0",
    photo: str | None = None,
    opened: pl.DataFrame | None = None,
) -> ShopRecord:
    if opened is None:
        opened = teardown(
            ["1 | piston | second land broken down", "2 | piston | pitting at the crown edge",
             "plug | aluminium specks on the plug", "piston | a crack shaped like a hook"],
            ["rod | bent rod"],
            engine_id=engine_id,
        )  # fmt: skip
    opened = opened.with_columns(photo_files=pl.lit(photo, dtype=pl.String))
    margins = {"P0": -3.0, "P1": -2.0, "P2": -1.0, "P3": 0.0, "P4": 1.0, "P5": 2.0}
    own = lives(dict.fromkeys(margins, 40.0)).with_columns(
        ended_at=pl.when(pl.col("piston_set_id") == "P0").then(FOUND),
        state=pl.when(pl.col("piston_set_id") == "P0")
        .then(pl.lit("failed"))
        .otherwise(pl.col("state")),
    )
    settings = load_assumptions()
    records = {
        "engines": frame(
            "engines",
            {"engine_id": "E-P0", "family": "S3", "induction": "supercharged", "cylinders": 2,
             "bore_mm": 100.0},
        ),
        "piston_sets": frame(
            "piston_sets", {"piston_set_id": "P0", "engine_id": "E-P0", "fitted_at": START}
        ),
        "failures": frame(
            "failures",
            {"engine_id": engine_id, "found_at": FOUND, "mode": "ring_land_fracture",
             "how_found": "ran_to_failure", "complaint": complaint},
        ),
        "teardowns": opened,
        "rebuilds": frame("rebuilds"),
        "inspections": frame("inspections"),
        "evidence": frame("evidence"),
        "costs": frame("costs"),
        "build_limits": frame("build_limits"),
        "build_readings": frame("build_readings"),
    }  # fmt: skip
    bench = {name: c.dtype for name, c in BenchVerdicts.columns().items()}
    return ShopRecord(
        as_of=OPENED + timedelta(days=30),
        is_demo=False,
        records=records,
        lives=own,
        exposure=pl.concat([sessions(name, margin) for name, margin in margins.items()]),
        bench=pl.DataFrame(schema=bench),
        effects=(),
        prices=prices(frame("costs"), 2025, settings),
        table=default_cause_table(),
        limits=default_bench_limits(),
        assumptions=settings,
        photos={"a.png": PNG, "evil.png": b"<svg onload=alert(1)>"},
        versions={"ringland": "test"},
    )


def report(**changed: object) -> CauseReport:
    return cause_reports(shop(**changed))[0]


def page_text(of: CauseReport) -> str:
    return cause_page(of).decode()


def test_the_page_has_the_twelve_parts_in_order() -> None:
    headings = re.findall(r"<h2[^>]*>(\d+)\. ([^<]+)</h2>", page_text(report()))
    assert [int(number) for number, _ in headings] == list(range(1, 13))
    assert tuple(title.strip() for _, title in headings) == PARTS


def test_two_causes_or_more_are_ranked_with_support_and_contradiction() -> None:
    causes = report().causes
    assert len(causes) >= 3
    assert causes[0].name.startswith("Knock")
    assert any("second land broken down: seen" in line for line in causes[0].support)
    fuel = next(cause for cause in causes if cause.name == "Knock: fuel below need")
    assert fuel.record.startswith("for: Fuel below need in hard running")


def test_what_drivers_of_one_mechanism_share_is_told_once() -> None:
    """Five causes of knock listed the same eight findings, one after the other."""
    first, *rest = (cause for cause in report().causes if cause.mechanism == "knock")
    assert first.support
    assert first.shared == ""
    assert rest
    for cause in rest:
        assert not {*first.support, *first.contradiction} & {*cause.support, *cause.contradiction}
        assert cause.shared.endswith(f"as under {first.rank}.")
        assert html.escape(cause.shared) in page_text(report())


def test_mode_mechanism_and_cause_stay_apart() -> None:
    mode, mechanism, cause = report().meaning[:3]
    assert mode == "Mode, what broke: ring-land fracture."
    assert mechanism.startswith("Mechanism, from the findings: knock (")
    assert cause.startswith("Cause, why")


def test_words_the_table_does_not_know_stay_in_the_report() -> None:
    made = report()
    assert any("a crack shaped like a hook" in row for row in made.found)
    assert any("a crack shaped like a hook" in note for note in made.found_notes)


def test_an_engine_not_on_record_still_gets_its_report() -> None:
    made = report(engine_id="X9", complaint=None)
    assert made.complaint == ("No complaint is on record.",)
    assert any("X9 is not on record" in note for note in made.found_notes)
    assert any("belongs to no piston set" in gap for gap in made.record_gaps)
    assert any("number of cylinders is not known" in line for line in made.closing)
    assert cause_pdf(made).startswith(b"%PDF")


def test_nothing_entered_ends_undetermined_in_plain_words() -> None:
    made = report(opened=teardown())
    assert made.causes[0].name == "Undetermined"
    assert "What was found does not name a cause." in made.summary
    assert "Nothing is entered for this engine." in page_text(made)


def test_nothing_in_the_wording_blames_anyone() -> None:
    words = page_text(report()).lower()
    for blame in ("negligen", "abuse", "fault of", "careless", "guilty", "operator error"):
        assert blame not in words


def test_hostile_text_is_inert_on_the_page() -> None:
    text = page_text(report(complaint=HOSTILE))
    assert text.count("<script") == page_text(report()).count("<script") == 1
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def pdf_text(pdf: bytes, tool: str = "pdftotext") -> str:
    return subprocess.run(
        [program(tool, "poppler-utils"), "-layout", "-", "-"],
        input=pdf,
        capture_output=True,
        check=True,
    ).stdout.decode()


def test_hostile_text_is_set_as_text_in_the_pdf() -> None:
    text = " ".join(pdf_text(cause_pdf(report(complaint=HOSTILE))).split())
    assert "<script>alert(1)</script>" in text
    assert '#panic("x") *bold* $1$ [a](b) \\ @cite =2+2' in text


def test_the_pdf_has_the_twelve_parts_and_says_what_the_page_says() -> None:
    made = report()
    text = " ".join(pdf_text(cause_pdf(made)).split())
    for number, title in enumerate(PARTS, start=1):
        assert f"{number} {title}" in text
    assert "knocked, then down on power" in text
    assert made.causes[0].name in text
    assert "never clearance to run" in text


def test_the_same_report_gives_the_same_bytes() -> None:
    first, second = report(photo="a.png"), report(photo="a.png")
    assert cause_page(first) == cause_page(second)
    assert cause_pdf(first) == cause_pdf(second)


def test_photos_are_embedded_and_missing_or_false_ones_are_not_shown() -> None:
    made = report(photo="a.png; evil.png; ../gone.jpg")
    text = page_text(made)
    assert text.count("data:image/jpeg;base64,") == 1
    assert "onload" not in text
    assert made.photos_missing == ("evil.png", "../gone.jpg")
    assert len(cause_pdf(made)) > len(cause_pdf(report()))


def test_a_photo_goes_out_small_and_without_what_its_file_says_beside_it() -> None:
    photo = shown_photo(picture("JPEG"))
    assert photo is not None
    assert (photo.width, photo.height) == (1200, 15)
    assert b"secret" in picture("JPEG")
    assert b"secret" not in photo.jpeg


@pytest.mark.parametrize("content", [b"", b"<svg/>", PNG[:60], b"\xff\xd8\xff rest"])
def test_a_damaged_or_false_photo_is_not_shown(content: bytes) -> None:
    assert shown_photo(content) is None


def test_demo_data_are_labelled_on_page_and_pdf() -> None:
    made = replace(report(), is_demo=True)
    assert "Invented demo data" in page_text(made)
    assert pdf_text(cause_pdf(made)).count("Invented demo data") >= 2


def whole_site(of: ShopRecord) -> dict[str, bytes]:
    builds, _ = builds_after_rebuild(of.lives, of.records["rebuilds"], of.assumptions)
    none = pl.DataFrame(schema={n: c.dtype for n, c in Spells.columns().items()})
    made = compare_rebuilds(builds, none, of.assumptions, np.random.default_rng(1))
    return build_cause_site(of, cause_reports(of), made)


def test_every_link_of_the_site_leads_to_a_file_of_it_or_to_the_weeks_pages() -> None:
    site = whole_site(shop(engine_id="../E 1<b>"))
    pages = {name: text.decode() for name, text in site.items() if name.endswith(".html")}
    for name, text in pages.items():
        for link in re.findall(r'href="([^"#]+)"', text):
            assert link in ("../index.html", "../ringland.css") or f"causes/{link}" in site, name
    assert all(re.fullmatch(r"causes/[A-Za-z0-9-]+\.(html|pdf|xlsx|css)", name) for name in site)
    assert not [name for name, text in pages.items() if "<b>" in text]


def test_without_rebuilds_the_comparison_page_says_so() -> None:
    page = whole_site(shop())["causes/rebuilds.html"].decode()
    assert "No failure after a rebuild is on record: nothing to compare." in page


def test_no_field_of_a_report_is_left_out_of_the_page() -> None:
    templates = files("ringland.pages").joinpath("causes")
    source = templates.joinpath("cause_report.html.j2").read_text("utf-8")
    elsewhere = {"engine_id", "found_at", "mode", "photos", "picture"}
    elsewhere |= {"rebuilt_at", "build"}  # told by `closing`, and handed on to the list
    for field in fields(CauseReport):
        assert field.name in elsewhere or f"report.{field.name}" in source, field.name


def test_only_the_newest_reports_are_written_as_files_and_no_link_leads_nowhere() -> None:
    first = shop()
    again = first.records["failures"].with_columns(found_at=pl.col("found_at") + timedelta(days=9))
    of = replace(
        first,
        records=first.records | {"failures": pl.concat([first.records["failures"], again])},
        assumptions=first.assumptions.changed(report__cause_files=1),
    )
    site = whole_site(of)
    pages = sorted(path for path in site if re.search(r"\d{4}-\d\d-\d\d-\w+\.html$", path))
    files = [path for path in site if path.endswith((".pdf", "-acceptance.xlsx"))]

    assert len(pages) == 2
    assert len(files) == 2  # of the later one
    assert all(path.startswith(pages[1].removesuffix(".html")) for path in files)
    for path in (*pages, "causes/index.html"):
        for link in re.findall(r'href="([^"#]+)"', site[path].decode()):
            assert link.startswith("../") or f"causes/{link}" in site, (path, link)
    assert "The newest 1 stand as PDF too" in site["causes/index.html"].decode()


def test_the_picture_shows_each_rental_once_by_colour_and_shape() -> None:
    """40 rentals at 2 below need: 40 triangles, and none of the marks of another class."""
    svg = (report().picture or b"").decode()
    marks = dict(re.findall(r'<path class="(met|short|open)" [^>]*fill="[^"]*" d="([^"]*)"', svg))

    assert set(marks) == {"short"}
    # the legend's mark comes after the rentals' and is the last of its class
    rentals = re.search(r'<path class="short" [^>]*stroke-linecap[^>]*d="([^"]*)"', svg)
    assert rentals is not None
    assert rentals[1].count("M") == 40
    assert "onload" not in svg


@pytest.mark.parametrize(
    ("begin", "end", "want"),
    [
        ("2024-04-20", "2026-07-30", ["Jan 2025", "Jan 2026"]),
        ("2025-05-10", "2025-08-20", ["Jun 2025", "Jul 2025", "Aug 2025"]),
        ("2025-12-20", "2026-01-20", ["Jan 2026"]),
        ("2025-05-10", "2025-05-20", ["15 May 2025"]),
    ],
)
def test_dates_under_a_picture_are_few_and_true(begin: str, end: str, want: list[str]) -> None:
    """By hand, from a calendar."""
    days = [datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp() / 86_400
            for day in (begin, end)]  # fmt: skip
    ticks = date_ticks(*days)

    assert [text for _, text in ticks] == want
    for at, text in ticks:
        assert days[0] <= at <= days[1]
        assert f"{datetime.fromtimestamp(at * 86_400, UTC):%b %Y}" in text


def test_a_report_says_first_what_to_do_and_what_it_costs() -> None:
    made = report()
    row = next(row for row in made.options if row[0].endswith("(proposed)"))

    assert made.summary[-1] == f"{made.work_lines[0]} Price: {row[1]}; such jobs: {row[2]}."
    opening = html.unescape(page_text(made).split('aria-labelledby="job"')[0])
    assert made.summary[-1] in opening


def test_a_price_is_told_in_the_currency_it_was_written_in_and_a_sale_as_what_it_fetches() -> None:
    """The first currency of any season was written beside every price."""
    of = shop()
    costs = frame(
        "costs",
        {"item": "full_rebuild_unplanned", "season": 2022, "amount": 60000.0, "currency": "HRK"},
        {"item": "full_rebuild_unplanned", "season": 2024, "amount": 7900.0, "currency": "EUR"},
        {"item": "full_rebuild_unplanned", "season": 2025, "amount": 8300.0, "currency": "EUR"},
        {"item": "hull_sold", "season": 2025, "amount": 2500.0, "currency": "EUR"},
    )
    made = cause_reports(replace(of, records=of.records | {"costs": costs}))[0]
    options = {row[0].removesuffix(" (proposed)"): row for row in made.options}
    assert options["Full rebuild, bottom end opened"][1] == "EUR 8,300"
    assert options["Full rebuild, bottom end opened"][2] == (
        "EUR 7,900 to EUR 8,300 (this shop's prices of 2 seasons)"
    )
    assert options["Sell the hull as it is"][1:3] == ("fetches EUR 2,500", "to be asked for")


def test_what_failed_and_what_was_seen_come_before_the_tables_they_stand_in() -> None:
    """A report was forty phone screens long, its failed readings somewhere in between."""
    text = page_text(report())
    found = text[text.index('id="found"') : text.index('id="meaning"')]
    opening, table = found.split("<details", 1)
    assert "second land broken down (cyl " in html.unescape(opening)
    assert "not seen" not in opening
    assert "not seen" in table


def test_five_ways_to_go_on_each_with_price_range_and_what_neglect_adds() -> None:
    of = shop()
    jobs = frame(
        "rebuilds",
        *(
            {"engine_id": "E-P1", "rebuilt_at": START + timedelta(days=day), "scope": "full",
             "cost": cost}
            for day, cost in enumerate((6100.0, 7300.0, 8200.0))
        ),
    )  # fmt: skip
    costs = frame(
        "costs",
        {"item": "full_rebuild_unplanned", "season": 2025, "amount": 7900.0, "currency": "USD"},
    )
    made = cause_reports(replace(of, records=of.records | {"rebuilds": jobs, "costs": costs}))[0]
    options = {row[0]: row for row in made.options}
    assert len(made.options) == 6  # and to leave it as it is
    assert made.options[0][:3] == (
        "Full rebuild, bottom end opened (proposed)", "USD 7,900", "USD 6,100 to USD 8,200 "
        "(3 own jobs)",
    )  # fmt: skip
    assert "weak" in options["Top end and head"][2]
    assert options["Exchange engine"][1] == "not priced by this shop"
    assert all(row[4] for row in made.options)
    assert "asks for the bottom end" in options["Pistons and rings only, head untested"][3]
