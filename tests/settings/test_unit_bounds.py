"""A value that its unit cannot have is refused, whichever setting of a shop's file it stands in."""

from pathlib import Path

import pytest

from ringland.bench.bench_limits import default_bench_limits
from ringland.settings.assumptions import AssumptionError, load_assumptions
from ringland.settings.unit_bounds import UNIT_BOUNDS

ALL = {**load_assumptions(), **default_bench_limits()}


def own(folder: Path, name: str, value: float) -> Path:
    group, _, key = name.partition(".")
    unit = load_assumptions()[name].unit
    file = folder / "assumptions.toml"
    entry = f'{{ value = {value}, unit = "{unit}", mark = "A", source = "ours" }}'
    file.write_text(f"[{group}]\n{key} = {entry}\n", encoding="utf-8")
    return file


def test_every_unit_has_its_bounds_and_every_setting_of_the_project_keeps_them() -> None:
    assert {entry.unit for entry in ALL.values()} == set(UNIT_BOUNDS)
    for entry in ALL.values():
        assert UNIT_BOUNDS[entry.unit].fault(entry.value) is None


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("fuel.old_after_d", -28, "fuel.old_after_d is -28 d; give a number from 0 to 3,660."),
        ("fuel.unseen_prior", 1.5, "fuel.unseen_prior is 1.5 chance; give a number from 0 to 1."),
        ("octane.need_raised_aki", 9.3, "give a number from 60 to 120."),
        ("limits.lift_slots", 2.5, "2.5 slots; give a whole number from 0 to 100,000."),
        ("season.last_month", 13, "13 month; give a whole number from 1 to 12."),
        ("planning.trade_prior", 2, "2 yes/no; give a whole number from 0 to 1."),
    ],
)
def test_a_value_its_unit_cannot_have_names_file_entry_and_remedy(
    tmp_path: Path, name: str, value: float, said: str
) -> None:
    file = own(tmp_path, name, value)

    with pytest.raises(AssumptionError) as refused:
        load_assumptions(file)

    assert str(refused.value).startswith(f"{file}: {name} is ")
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("name", "value"),
    [("fuel.old_after_d", 0), ("fuel.unseen_prior", 1), ("limits.lift_slots", 3),
     ("cost.top_end_planned", 99_999)],
)  # fmt: skip
def test_a_shops_own_judgement_within_them_holds(tmp_path: Path, name: str, value: float) -> None:
    assert load_assumptions(own(tmp_path, name, value)).number(name) == value
