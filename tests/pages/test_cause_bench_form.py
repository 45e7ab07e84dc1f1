from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest
from playwright.sync_api import Download, Page, expect, sync_playwright

from ringland.causes.cause_differential import rank_causes
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_table import default_cause_table
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import Intake, take_in
from ringland.intake.written.raw_text import read_raw
from ringland.pages.causes.cause_bench_form import (
    BY_CYLINDER,
    bench_form_page,
    bench_form_workbook,
)
from tests.causes.cause_rows import teardown
from tests.outside_tools import ARGUMENTS, CHROMIUM, missing

TABLE = default_cause_table()
HOSTILE = '</script><img src=x onerror=alert(1)> =1+1, "so"'


def loaded(file_name: str, content: bytes, kind: str = "teardowns") -> Intake:
    known = {"engines": ["E-1", HOSTILE]}
    return take_in(RECORD_KINDS[kind], read_raw(file_name, content), known)


def test_the_filled_spreadsheet_loads_with_every_row_not_looked_at() -> None:
    content = bench_form_workbook(TABLE, 3, "E-1", "2025-07-01T09:00:00Z")
    intake = loaded("teardowns_E-1.xlsx", content)
    assert intake.rows_set_aside == 0
    assert intake.rows_loaded == intake.rows_in > 100
    assert set(intake.loaded["state"]) == {"not_looked_at"}
    found = engine_findings(intake.loaded, TABLE, "E-1", 3)
    assert found.unmatched == ()
    assert found.number_seen == 0


def test_the_same_spreadsheet_has_the_same_bytes() -> None:
    assert bench_form_workbook(TABLE, 2) == bench_form_workbook(TABLE, 2)


def test_a_serial_that_looks_like_a_formula_stays_text() -> None:
    intake = loaded("t.xlsx", bench_form_workbook(TABLE, 1, HOSTILE, "2025-07-01T09:00:00Z"))
    assert set(intake.loaded["engine_id"]) == {HOSTILE}


def test_hostile_serials_cannot_end_the_script() -> None:
    page = bench_form_page(TABLE, {HOSTILE: 3}).decode()
    assert page.count("</script>") == 2
    assert "<img" not in page


def test_the_form_asks_for_nothing_off_the_device() -> None:
    page = bench_form_page(TABLE, {}).decode()
    for reach in ("http:", "https:", "src=", "@import", "fetch(", "<link"):
        assert reach not in page


@pytest.fixture
def form(tmp_path: Path) -> Iterator[Page]:
    """The form opened from disk on a phone; fails its test on any fault or request."""
    if CHROMIUM is None:
        missing("Chromium is not installed: apt-get install chromium")
    file = tmp_path / "bench-form.html"
    file.write_bytes(bench_form_page(TABLE, {"E-1": 2, HOSTILE: 4}))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, offline=True
        )
        page = context.new_page()
        faults: list[str] = []
        page.on("console", lambda message: faults.append(message.text))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on(
            "request",
            lambda request: (
                None if request.url.startswith(("file:", "blob:")) else faults.append(request.url)
            ),
        )
        page.goto(file.as_uri())
        yield page
        browser.close()
        assert faults == []


def open_part(page: Page, part: str) -> None:
    if page.locator("#all:not([open])").count():
        page.locator("#all > summary").tap()
    page.locator(f"details[data-part='{part}'] > summary").tap()


def look(page: Page, finding: str, place: str, state: str) -> None:
    page.get_by_label(f"{finding}, {place}: {state}", exact=True).check()


@pytest.mark.browser
def test_a_mechanic_fills_the_form_on_a_phone_offline_and_the_file_loads(
    form: Page, tmp_path: Path
) -> None:
    form.get_by_label("Engine serial").fill("E-1")
    assert form.locator("#cylinders").input_value() == "2"  # the engine's own
    form.get_by_label("Opened at").fill("2025-07-01T09:00")
    form.get_by_label("Looked at by").fill("R. Vane")
    for part in ("piston", "rod"):
        open_part(form, part)
    look(form, "second land broken down", "cylinder 1", "seen")
    form.get_by_label("second land broken down, cylinder 1: extent").select_option("severe")
    form.get_by_label("second land broken down, cylinder 1: photo file names").fill("a.jpg; b.jpg")
    look(form, "second land broken down", "cylinder 2", "not seen")
    form.locator("details[data-part='rod'] button").tap()
    form.locator("#own > summary").tap()
    form.get_by_role("button", name="Add a finding").tap()
    form.get_by_label("Part", exact=True).fill("flywheel")
    form.get_by_label("What was looked for").fill('a mark, like a "hook"')
    form.get_by_label("Own finding 1: seen", exact=True).check()

    assert form.evaluate("document.documentElement.scrollWidth") == 390
    with form.expect_download() as download:
        form.get_by_role("button", name="Save the file").tap()
    file = tmp_path / download.value.suggested_filename
    download.value.save_as(file)

    assert file.name.startswith("teardowns_E-1_")
    intake = loaded(file.name, file.read_bytes())
    assert intake.rows_set_aside == 0
    assert intake.rows_loaded == intake.rows_in
    seen = intake.loaded.filter(pl.col("state") == "seen").sort("part")
    assert seen.select("cylinder", "part", "finding", "extent", "photo_files").rows() == [
        (None, "flywheel", 'a mark, like a "hook"', None, None),
        (1, "piston", "second land broken down", "severe", "a.jpg; b.jpg"),
    ]
    assert set(seen["examined_by"]) == {"R. Vane"}
    found = engine_findings(intake.loaded, TABLE, "E-1", 2)
    assert found.states["second_land_down"] == "seen"
    assert found.states["rod_bent"] == "not_seen"
    assert found.states["crown_molten"] == "not_looked_at"
    assert found.unmatched == ('flywheel: a mark, like a "hook" (seen)',)


@pytest.mark.browser
def test_what_was_entered_is_still_there_after_the_page_was_closed(form: Page) -> None:
    form.get_by_label("Engine serial").fill("E-1")
    open_part(form, "rod")
    look(form, "bent rod", "cylinder 2", "seen")
    form.reload()
    open_part(form, "rod")
    assert form.get_by_label("Engine serial").input_value() == "E-1"
    assert form.get_by_label("bent rod, cylinder 2: seen", exact=True).is_checked()


PICTURE = b"\xff\xd8\xff\xe0 a picture as the camera made it"


@pytest.mark.browser
def test_readings_and_photos_taken_offline_load_as_records(form: Page, tmp_path: Path) -> None:
    """The form took findings only; readings were typed into another sheet, from memory."""
    form.get_by_label("Engine serial").fill("E-1")
    form.get_by_label("Looked at by").fill("R. Vane")
    form.locator("#readings > summary").tap()
    form.get_by_label("Read at").fill("2025-07-01T10:00")
    form.get_by_label("Air pressure", exact=True).first.fill("978,5")
    form.get_by_label("That figure is").select_option("from a weather report")
    form.get_by_label("Leak-down, cylinder 1", exact=True).fill("76")
    form.get_by_label("Leak-down, cylinder 1: unit").select_option("psi")
    form.get_by_label("Leak-down, cylinder 1: supply").fill("100")
    form.get_by_label("Valve-seal vacuum, cylinder 2, exhaust", exact=True).fill("27.5")
    form.get_by_label("These readings are").select_option("together")
    form.get_by_label("Ring 1 end gap, cylinder 2", exact=True).fill("0.55")
    form.get_by_label(
        "Hone used, diamond only on plated bores, cylinder 1", exact=True
    ).select_option("diamond")
    assert form.evaluate("document.documentElement.scrollWidth") == 390
    open_part(form, "piston")
    look(form, "second land broken down", "cylinder 1", "seen")
    form.get_by_label("second land broken down, cylinder 1: pick photos").set_input_files(
        [{"name": "image.jpg", "mimeType": "image/jpeg", "buffer": PICTURE}] * 2
    )

    came: list[Download] = []
    form.on("download", lambda one: came.append(one))  # noqa: PLW0108  # a built-in cannot be marked
    form.get_by_role("button", name="Save the file").tap()
    expect(form.locator("a.file")).to_have_count(5)
    for _ in range(500):
        if len(came) < 5:
            form.wait_for_timeout(20)
    files = {}
    for one in came:
        one.save_as(tmp_path / one.suggested_filename)
        files[one.suggested_filename] = (tmp_path / one.suggested_filename).read_bytes()

    of_kind = {name.rpartition("_E-1")[0]: name for name in files if name.endswith(".csv")}
    tests, built, found = (
        loaded(of_kind[kind], files[of_kind[kind]], kind)
        for kind in ("inspections", "build_readings", "teardowns")
    )
    assert tests.rows_set_aside == built.rows_set_aside == found.rows_set_aside == 0
    assert tests.loaded.select(
        "measure", "cylinder", "port", "value", "unit", "reference_value", "barometer_kpa",
        "barometer_is",
    ).rows() == [
        ("leak_down", 1, None, 76.0, "psi", 100.0, 97.85, "sea_level"),
        ("valve_seal_vacuum", 2, "exhaust", 27.5, "inHg", None, 97.85, "sea_level"),
    ]  # fmt: skip
    assert built.loaded.select("line", "place", "value", "unit", "answer", "read_by").rows() == [
        ("hone_tool", "1", None, None, "diamond", "R. Vane"),
        ("ring_1_gap", "2", 0.55, "mm", None, "R. Vane"),
    ]
    photos = found.loaded.filter(pl.col("state") == "seen")["photo_files"][0].split("; ")
    assert len(set(photos)) == 2
    assert [files[name] for name in photos] == [PICTURE] * 2


@pytest.mark.browser
def test_a_photo_outlasts_the_page_until_the_form_is_cleared(form: Page, tmp_path: Path) -> None:
    """A page closed by the phone lost every picture picked; the file named what was not there."""
    form.get_by_label("Engine serial").fill("E-1")
    open_part(form, "piston")
    look(form, "second land broken down", "cylinder 1", "seen")
    form.get_by_label("second land broken down, cylinder 1: pick photos").set_input_files(
        {"name": "image.jpg", "mimeType": "image/jpeg", "buffer": PICTURE}
    )
    kept = "onShelf((photos) => photos.count())"
    for _ in range(500):
        if form.evaluate(kept) != 1:
            form.wait_for_timeout(20)
    form.reload()
    came: list[Download] = []
    form.on("download", lambda one: came.append(one))  # noqa: PLW0108  # a built-in cannot be marked
    form.get_by_role("button", name="Save the file").tap()
    expect(form.locator("a.file")).to_have_count(2)
    assert form.locator("#trouble").text_content() == ""
    for _ in range(500):
        if len(came) < 2:
            form.wait_for_timeout(20)
    [photo] = [one for one in came if one.suggested_filename.endswith(".jpg")]
    photo.save_as(tmp_path / "photo.jpg")
    assert (tmp_path / "photo.jpg").read_bytes() == PICTURE

    form.on("dialog", lambda dialog: dialog.accept())
    form.get_by_role("button", name="Clear the form").tap()
    for _ in range(500):
        if form.evaluate(kept) != 0:
            form.wait_for_timeout(20)
    form.reload()
    assert form.evaluate("taken.then(() => held.size)") == 0


@pytest.mark.browser
def test_a_reading_that_is_no_number_or_unsigned_saves_nothing(form: Page) -> None:
    form.get_by_label("Engine serial").fill("E-1")
    form.locator("#readings > summary").tap()
    form.get_by_label("Compression, cylinder 1", exact=True).fill("1O5")
    form.get_by_label("These readings are").select_option("together")
    form.get_by_label("Ring 1 end gap, cylinder 2", exact=True).fill("0.55")
    form.get_by_role("button", name="Save the file").tap()
    trouble = form.get_by_role("alert").inner_text()
    assert "Compression, cylinder 1: '1O5' is no number." in trouble
    assert "needs your name" in trouble
    assert form.locator("a.file").count() == 0


@pytest.mark.browser
def test_an_incomplete_form_says_what_is_missing_and_saves_nothing(form: Page) -> None:
    form.get_by_label("Opened at").fill("2099-01-01T09:00")
    form.get_by_role("button", name="Save the file").tap()
    trouble = form.get_by_role("alert").inner_text()
    assert "Enter the engine serial." in trouble
    assert "cannot have been opened in the future" in trouble


@pytest.mark.browser
def test_every_control_is_named_and_large_enough_for_a_thumb(form: Page) -> None:
    form.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    small = form.evaluate(
        """Array.from(document.querySelectorAll(
             'button, select, summary, .choice span, input[type=text]'))
           .filter((e) => e.offsetParent && e.getBoundingClientRect().height < 44).length"""
    )
    unnamed = form.evaluate(
        """Array.from(document.querySelectorAll('input, select'))
           .filter((e) => !e.getAttribute('aria-label') && !(e.labels && e.labels.length)).length"""
    )
    assert (small, unnamed) == (0, 0)


@pytest.mark.parametrize(
    "seen",
    [
        [],
        ["1 | piston | second land broken down", "1 | piston | pitting at the crown edge"],
        ["intake | blower clutch or wheel damaged", "bearing | bearings wiped or blue"],
        ["oil | milky oil", "controller | calibration read out: stock"],
    ],
)
def test_the_form_asks_next_for_what_the_report_says_would_tell_most(
    form: Page, seen: list[str]
) -> None:
    """Second route: the form's own script against `rank_causes`."""
    keys = []
    for entry in seen:
        *place, part, words = (piece.strip() for piece in entry.split("|"))
        finding = TABLE.finding_for(words)
        assert finding is not None
        assert finding.part == part
        by_cylinder = part in BY_CYLINDER
        keys.append(f"{finding.key}|{place[0] if place else 1 if by_cylinder else ''}")
    form.evaluate(
        "(keys) => { entries = Object.fromEntries(keys.map((key) => "
        "[key, {state: 'seen', extent: '', photos: ''}])); draw(); }",
        keys,
    )
    asked = form.locator("#next-list button").all_inner_texts()
    ranked = rank_causes(engine_findings(teardown(seen), TABLE, "E1", 3), TABLE)
    wanted = [
        f"{row['part']}: {row['words']}"
        for row in ranked.open_findings.head(5).iter_rows(named=True)
    ]
    assert asked == wanted
    form.locator("#next-list button").first.click()
    assert form.locator("#parts details[open]").count() == 1
