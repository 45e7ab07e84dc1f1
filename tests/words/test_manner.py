"""Figures in the shop's manner: marks, dates, clocks, money, units; and its settings file."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.settings.manner_file import PageSettingError, page_settings_text, read_manner
from ringland.words.manner import (
    CHART_DATES,
    CLOCKS,
    DATE_FORMS,
    DEFAULT_MANNER,
    NUMBER_FORMS,
    Manner,
    in_manner,
    manner,
)
from ringland.words.number_words import (
    chance_text,
    count_text,
    day_text,
    exact_text,
    instant_text,
    money_text,
    number_text,
    plain_text,
    price_text,
    quantity_text,
    reading_text,
    time_text,
    unit_price_text,
    unit_text,
    weekday_text,
)

AFTERNOON = datetime(2026, 8, 17, 14, 5, tzinfo=UTC)
US = Manner(units="us", date="Aug 17, 2026", clock="2:05 pm", currency_sign="$")
COMMA = Manner(number="1.234,5", money="after", date="17.08.2026")


def test_each_form_shows_what_its_own_name_shows() -> None:
    for form in DATE_FORMS:
        with in_manner(Manner(date=form)):
            assert day_text(date(2026, 8, 17)) == form
    for clock in CLOCKS:
        with in_manner(Manner(clock=clock)):
            assert time_text(AFTERNOON) == clock
    for form in NUMBER_FORMS:
        with in_manner(Manner(number=form)):
            assert number_text(1234.5).replace("\N{NARROW NO-BREAK SPACE}", " ") == form


def test_charts_write_days_as_the_pages_do() -> None:
    # d3's letters %a %d %b %Y %m are those of C's strftime; '-' drops the leading zero
    for form in DATE_FORMS:
        assert AFTERNOON.strftime(CHART_DATES[form]) == form


def test_the_iso_form_is_that_of_iso_8601() -> None:
    with in_manner(Manner(date="2026-08-17")):
        assert day_text(AFTERNOON) == AFTERNOON.date().isoformat()


def test_spaced_thousands_follow_the_si_brochure() -> None:
    # SI Brochure, 9th edition, 5.4.4: groups of three by a thin space, here a narrow
    # no-break one, and either the comma or the point as decimal marker
    with in_manner(Manner(number="1 234,5")):
        assert number_text(43279.17, 2) == "43\N{NARROW NO-BREAK SPACE}279,17"


def test_us_gallons_and_psi_are_those_of_nist() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 US gallon = 3.785412 l, 1 psi = 6.894757 kPa;
    # 1 inch = 25.4 mm exactly.  So 100 l = 26.417 gal, 1,000 kPa = 145.04 psi.
    with in_manner(US):
        assert quantity_text(100, "l", 1) == "26.4 gal"
        assert quantity_text(1000, "kPa") == "145 psi"
        assert quantity_text(0.635, "mm", 3) == "0.0250 in"
        assert unit_price_text(1.0, "USD") == "$3.79 a gallon"
        assert unit_text("l") == "gal"
    assert quantity_text(100, "l", 1) == "100.0 l"
    assert unit_price_text(1.0, "USD") == "USD 1.00 a litre"


def test_a_decimal_comma_reaches_every_figure() -> None:
    with in_manner(COMMA):
        assert chance_text(0.0123) == "1,2 %"
        assert chance_text(0.0001) == "under 0,1 %"
        assert money_text(12_649, "EUR") == "12.600 EUR"
        assert money_text(3, "EUR") == "under 10 EUR"
        assert price_text(-1250, "EUR") == "-1.250 EUR"
        assert plain_text(0.05) == "0,05"
        assert count_text(1200, "rental") == "1.200 rentals"


def test_a_sign_stands_at_the_amount_and_a_code_apart() -> None:
    with in_manner(US):
        assert price_text(-1250, "USD") == "-$1,250"
    assert price_text(-1250, "USD") == "USD -1,250"


def test_an_instant_is_shown_on_the_docks_clock_and_a_day_stays_its_day() -> None:
    # 17 August 2026 03:00 UTC is the evening before on the US east coast (UTC-4 in summer)
    early = datetime(2026, 8, 17, 3, tzinfo=UTC)
    with in_manner(Manner(time_zone="America/New_York", clock="2:05 pm")):
        assert instant_text(early) == "Sun 16 Aug 2026, 11:00 pm EDT"
        assert day_text(early.date()) == "Mon 17 Aug 2026"
    with in_manner(Manner(time_zone="America/Sao_Paulo")):  # a zone without letters
        assert instant_text(early) == "Mon 17 Aug 2026, 00:00 UTC-03"


def test_noon_and_midnight_are_twelve() -> None:
    # 12-hour clock: 12 am is midnight, 12 pm noon (NIST, Times of Day FAQ, from memory)
    with in_manner(Manner(clock="2:05 pm")):
        assert time_text(datetime(2026, 8, 17, 0, 30, tzinfo=UTC)) == "12:30 am"
        assert time_text(datetime(2026, 8, 17, 12, 0, tzinfo=UTC)) == "12:00 pm"


def test_a_coming_day_keeps_the_order_of_day_and_month() -> None:
    assert weekday_text(date(2026, 8, 21)) == "Fri 21 Aug"
    with in_manner(US):
        assert weekday_text(date(2026, 8, 21)) == "Fri Aug 21"


def test_a_manner_ends_with_its_block_even_after_an_error() -> None:
    with pytest.raises(ZeroDivisionError), in_manner(US):
        _ = 1 / 0
    assert manner() == DEFAULT_MANNER


@settings(derandomize=True, deadline=None)
@given(st.floats(-1e9, 1e9), st.integers(0, 3), st.sampled_from(sorted(NUMBER_FORMS)))
def test_a_number_can_be_read_back_from_its_text(value: float, digits: int, form: str) -> None:
    with in_manner(Manner(number=form)):
        thousands, decimal = manner().thousands, manner().decimal
        text = number_text(value, digits)
    plain = text.replace(thousands, "") if thousands else text
    # half a last digit, and the rounding of the float itself
    assert float(plain.replace(decimal, ".")) == pytest.approx(value, abs=0.5 * 10**-digits + 1e-6)


def test_the_commented_file_says_the_defaults() -> None:
    assert read_manner("page_settings.toml", page_settings_text()) == DEFAULT_MANNER
    assert all(f'"{form}"' in page_settings_text() for form in (*DATE_FORMS, *NUMBER_FORMS))


def test_an_entry_left_out_keeps_the_projects_value() -> None:
    assert read_manner("pages.toml", 'units = "us"\n') == Manner(units="us")


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ('unit = "us"', ["unit'", "Did you mean 'units'?"]),
        ('units = "imperial"', ['units is "imperial"', '"metric", "us"']),
        ('date = "17/08/2026"', ['date is "17/08/2026"', '"2026-08-17"']),
        ('time_zone = "Dock time"', ["Dock time", "America/New_York"]),
        ('time_zone = "../zones/other"', ["time_zone", "UTC"]),
        ('time_zone = ""', ["time_zone", "UTC"]),
        ("units = us", ["not valid TOML", "double quotes"]),
        ("clock = 24", ["clock is 24", "double quotes"]),
        ('currency_sign = "dollars"', ["currency_sign", "at most 4"]),
    ],
)
def test_a_wrong_entry_is_named_with_its_file_and_remedy(text: str, parts: list[str]) -> None:
    with pytest.raises(PageSettingError) as caught:
        read_manner("shop/pages.toml", text)
    for part in ["shop/pages.toml", *parts]:
        assert part in str(caught.value)


def test_a_reading_stays_as_read_unless_its_unit_is_not_the_shops() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 psi = 6.894757 kPa, so 172 psi = 1185.90 kPa
    assert reading_text(172, "psi") == "172 psi"
    with in_manner(Manner(pressure="kPa")):
        assert reading_text(172, "psi") == "1,186 kPa"
    with in_manner(Manner(pressure="bar")):
        assert reading_text(172, "psi") == "11.86 bar"
    assert reading_text(28.25, "inHg") == "28.25 inHg"
    assert reading_text(0.0375, "mm") == "0.0375 mm"
    with in_manner(US):
        assert reading_text(172, "psi") == "172 psi"
        assert reading_text(0.635, "mm") == "0.025 in"
        assert reading_text(0.012, "mm") == "0.0005 in"  # 0.000472 in, past what is read
        assert exact_text(0.05, "mm") == "0.002 in"
    assert exact_text(0.05, "mm") == "0.05 mm"
