"""What is left in a dock's tank: by the list's ledger, by dips, by what was written down since."""

from collections.abc import Mapping
from datetime import datetime, timedelta

import polars as pl
import pytest

from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.dock_levels import tank_levels
from ringland.dockside.ground import Ground
from ringland.dockside.tank_words import TankLevel, level_words
from ringland.intake.intake import take_in_file
from ringland.settings.assumptions import Assumptions, load_assumptions
from tests.dockside.small_shop import NOW, shop

AS_OF = datetime.fromisoformat("2026-08-17T00:00:00Z")
LISTED = pl.DataFrame(
    {
        "dock_id": ["north"],
        "level_l": [1000.0],
        "octane_aki": [93.0],
        "octane_low_aki": [92.5],
        "octane_high_aki": [93.5],
        "unknown_share": [0.0],
        "fuel_age_now_d": [6.0],
    }
)
DELIVERED = "dock_id,delivered_at,volume_l,octane_aki\nnorth,2026-08-01T06:00:00Z,2000,93\n"
FILLED = "hull_id,filled_at,volume_l,source,source_dock_id\n"


@pytest.fixture(scope="module")
def settings() -> Assumptions:
    return load_assumptions()


def with_files(files: Mapping[str, str]) -> Ground:
    ground = shop()
    records = dict(ground.records)
    for name, text in files.items():
        kind = ALL_KINDS[name]
        known = {k: set(records[k][ALL_KINDS[k].key[0]]) for k in kind.refers_to.values()}
        taken = take_in_file(kind, f"{name}.csv", text.encode(), known)
        records[name] = taken.loaded
        assert taken.loaded.height == text.count("\n") - 1, name
    return Ground(records, "us")


def levels(
    files: Mapping[str, str], settings: Assumptions, fuel: pl.DataFrame | None = LISTED
) -> list[TankLevel]:
    ground = with_files({"deliveries": DELIVERED, **files})
    return tank_levels(ground, fuel, None if fuel is None else AS_OF, NOW, settings)


def test_a_tank_goes_on_from_the_list_by_what_was_written_down_since(settings: Assumptions) -> None:
    delivery = "north,2026-08-17T08:00:00Z,1000,87\n"
    fills = "A1,2026-08-17T07:00:00Z,60,dock,north\nA2,2026-08-10T07:00:00Z,50,dock,north\n"

    (tank,) = levels({"deliveries": DELIVERED + delivery, "fills": FILLED + fills}, settings)

    assert tank.level_l == pytest.approx(1000 - 60 + 1000)
    assert tank.aki == pytest.approx((940 * 93 + 1000 * 87) / 1940)
    assert tank.aki_low is not None
    assert tank.aki_low < tank.aki
    fresh = settings.number("fuel.delivery_age_d")
    at_delivery = (6 + 8 / 24) * 940 / 1940 + fresh * 1000 / 1940
    assert tank.age_d == pytest.approx(at_delivery + 28 / 24, abs=0.01)
    assert level_words(tank).startswith("north: 1,940 l left, 89.9 AKI (")
    assert "reckoned by the list as of Mon 17 Aug 2026, with 2 records since" in level_words(tank)


def test_without_a_list_or_a_dip_the_litres_are_said_not_to_be_known(settings: Assumptions) -> None:
    (tank,) = levels({}, settings, None)

    assert tank.level_l is None
    words = level_words(tank)
    assert words.startswith("north: what is left not known, for no dip is on record, 93.0 AKI")
    assert "of its last delivery, 2,000 l on Sat 1 Aug 2026" in words
    assert tank.is_careful


def test_a_dip_is_known_better_than_any_sum(settings: Assumptions) -> None:
    dips = "dock_id,dipped_at,level_l\nnorth,2026-08-18T06:00:00Z,700\n"
    fills = "A1,2026-08-18T07:00:00Z,60,dock,north\n"

    for fuel in (LISTED, None):
        (tank,) = levels({"dips": dips, "fills": FILLED + fills}, settings, fuel)
        assert tank.level_l == pytest.approx(640)
        assert "dipped on Tue 18 Aug 2026, with 1 record since" in level_words(tank)


def test_a_dip_that_finds_more_than_there_was_finds_fuel_nobody_wrote_down(
    settings: Assumptions,
) -> None:
    dips = "dock_id,dipped_at,level_l\nnorth,2026-08-18T06:00:00Z,2000\n"

    (tank,) = levels({"dips": dips}, settings)

    assert tank.unknown_share == pytest.approx(0.5)
    assert "50 % of it of a grade not known" in level_words(tank)


def test_a_delivery_without_a_grade_is_no_grade(settings: Assumptions) -> None:
    delivery = "north,2026-08-17T08:00:00Z,1000,\n"

    (tank,) = levels({"deliveries": DELIVERED + delivery}, settings)

    assert tank.aki == pytest.approx(93)
    assert tank.unknown_share == pytest.approx(0.5)


def test_an_emptied_tank_is_empty_and_a_fresh_delivery_is_all_there_is(
    settings: Assumptions,
) -> None:
    out = "dock_id,pumped_at,volume_l\nnorth,2026-08-17T08:00:00Z,\n"
    delivery = "north,2026-08-17T10:00:00Z,500,91\n"

    (empty,) = levels({"pump_outs": out}, settings)
    (full,) = levels({"pump_outs": out, "deliveries": DELIVERED + delivery}, settings)

    assert level_words(empty) == "north: empty (emptied on Mon 17 Aug 2026)."
    assert (full.level_l, full.aki, full.unknown_share) == (500, 91, 0)


def test_more_drawn_than_there_was_is_a_doubt_and_never_less_than_none(
    settings: Assumptions,
) -> None:
    fills = "".join(f"A1,2026-08-17T{hour:02}:00:00Z,350,dock,north\n" for hour in range(4, 8))

    (tank,) = levels({"fills": FILLED + fills}, settings)

    assert tank.level_l == 0
    assert "more was drawn than it held" in level_words(tank)
    assert tank.is_careful


def test_water_stands_until_the_tank_is_emptied_or_tested_dry(settings: Assumptions) -> None:
    wet = "dock_id,tested_at,has_water\nnorth,2026-08-10T08:00:00Z,true\n"
    dry = "north,2026-08-18T08:00:00Z,false\n"
    out = "dock_id,pumped_at,volume_l\nnorth,2026-08-17T08:00:00Z,\n"

    for more, is_wet in (({}, True), ({"pump_outs": out}, False)):
        (tank,) = levels({"fuel_tests": wet, **more}, settings)
        assert ("water was found" in level_words(tank)) is is_wet
    (tank,) = levels({"fuel_tests": wet + dry}, settings)
    assert "water" not in level_words(tank)


def test_old_fuel_says_so(settings: Assumptions) -> None:
    old = LISTED.with_columns(fuel_age_now_d=pl.lit(20.0))
    (tank,) = levels({}, settings, old)
    assert "22 days old: it begins to turn" in level_words(tank)

    older = LISTED.with_columns(fuel_age_now_d=pl.lit(40.0))
    (tank,) = levels({}, settings, older)
    assert "old fuel" in level_words(tank)


def test_where_a_dock_has_several_tanks_only_dips_say_what_is_in_each(
    settings: Assumptions,
) -> None:
    tanks = "dock_id,tank_id,delivered_at,volume_l,octane_aki\n"
    delivered = tanks + "".join(
        f"north,{grade},2026-08-{day}T06:00:00Z,900,{grade}\n"
        for day, grade in (("01", 87), ("02", 93))
    )
    dips = "dock_id,tank_id,dipped_at,level_l\nnorth,93,2026-08-18T06:00:00Z,400\n"
    fills = "A1,2026-08-18T07:00:00Z,60,dock,north\n"

    found = levels({"deliveries": delivered, "dips": dips, "fills": FILLED + fills}, settings)

    assert [(one.tank_id, one.level_l) for one in found] == [("87", None), ("93", 400)]
    assert "60 l were drawn at this dock from a tank nobody named" in level_words(found[1])


def test_what_happens_later_is_left_out(settings: Assumptions) -> None:
    later = (NOW + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    (tank,) = levels({"fills": f"{FILLED}A1,{later},60,dock,north\n"}, settings)

    assert tank.level_l == 1000
