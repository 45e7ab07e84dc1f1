"""Effects shared by five made operators, two of which have too few failures to take part."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.home import Home
from pipelines.network.effects import effects_of, shared_with
from pipelines.network.network_week import Asked
from pipelines.network.pooling import pool_effects, pool_rows
from pipelines.network.store import NetworkStore, Written
from pipelines.warehouse_care import _shared_effects
from pipelines.weekly.givens import givens_of
from pipelines.weekly.store import StoreError, WeekKey
from ringland.bench.bench_limits import load_bench_limits
from ringland.exposure.factor_registry import COVARIATES, FACTORS
from ringland.network.pooled_effects import heard, pooled_effects
from ringland.settings.assumptions import load_assumptions
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.hazard.hazard_bucket import Derivatives
from tests.network.two_operators import AS_OF
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions()
ASKED = Asked("2026-07-06", AS_OF, SETTINGS, load_bench_limits())
LATER = replace(ASKED, monday="2026-10-05")
TAKE_PART = ("alder", "birch", "cedar")
LEAST = int(SETTINGS.number("network.least_failures"))
IDS = ("piston_set_id", "engine_id", "hull_id", "dock_id")


def spells_of(operator: str, n_sets: int) -> pl.DataFrame:
    made = made_spells(weibull_truth(), n_sets=n_sets, seed=sum(map(ord, operator)))
    return made.with_columns(
        pl.concat_str(pl.lit(f"{operator}-"), name).alias(name) for name in IDS
    )


def failed(spells: pl.DataFrame) -> int:
    return int((spells["mode"] == "ring_land_fracture").sum())


SPELLS = {one: spells_of(one, 70) for one in TAKE_PART} | {
    "dune": spells_of("dune", 12),
    "elm": spells_of("elm", 1).clear(),
}


def with_weeks(network: Path, spells: dict[str, pl.DataFrame], monday: str) -> Path:
    """A network whose week gave these spells."""
    store = NetworkStore(str(network))
    operators = {
        one: {"records": {}, "turning": {}, "lasting": {
            "tables": {"spells": store.write(one, "spells", of)}}}
        for one, of in spells.items()
    }  # fmt: skip
    store.keep_week(monday, {"operators": operators})
    return network


@pytest.fixture(scope="module")
def pooled_here(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The network with its effects shared, in this process.  Not to be changed."""
    network = with_weeks(tmp_path_factory.mktemp("pool") / "network", SPELLS, ASKED.monday)
    pool_effects(str(network), ASKED)
    return network


def left(network: Path, monday: str = ASKED.monday) -> dict[str, list[dict[str, str]]]:
    """By operator the list of the numbers that left it."""
    return {
        path.parent.name: list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
        for path in sorted(network.glob(f"operators/*/left-{monday}.csv"))
    }


def test_effects_shared_by_sums_are_those_of_all_spells_in_one_place(pooled_here: Path) -> None:
    """The one place: our Cox fit with strata, itself held to R's survival package."""
    shared = NetworkStore(str(pooled_here)).pool(ASKED.monday)["shared"]
    rows = pl.concat(
        pool_rows(SPELLS[one], SETTINGS)[0].with_columns(operator=pl.lit(one)) for one in TAKE_PART
    )
    steps = [FACTORS[name].step(SETTINGS) for name in shared["factors"]]
    x = rows.select(pl.col(shared["factors"]).cast(pl.Float64)).to_numpy() / np.array(steps)

    together = fit_cox(
        rows["start_h"], rows["stop_h"], rows["failed"], x,
        names=shared["factors"], strata=rows["operator"],
    )  # fmt: skip

    assert set(COVARIATES) - set(shared["factors"]) == {"build_number"}  # the same for all
    np.testing.assert_allclose(shared["coef"], together.coef, rtol=0, atol=1e-8)
    np.testing.assert_allclose(shared["covariance"], together.covariance, rtol=1e-7)


def test_the_list_of_what_left_an_operator_holds_no_record_time_or_id(pooled_here: Path) -> None:
    rounds = NetworkStore(str(pooled_here)).pool(ASKED.monday)["shared"]["rounds"]
    p = len(COVARIATES)
    pairs = [
        f"information {a} and {b}" for i, a in enumerate(COVARIATES) for b in COVARIATES[: i + 1]
    ]
    sums = ["log likelihood", *(f"score {name}" for name in COVARIATES), *pairs]
    lists = left(pooled_here)

    assert tuple(lists) == TAKE_PART, "the others told nothing"
    for one, rows in lists.items():
        assert [(row["round"], row["sum"]) for row in rows] == [
            ("effects 0", "failures"), ("effects 0", "piston_sets"),
            *((f"effects {at}", name) for at in range(1, rounds + 1) for name in sums),
        ]  # fmt: skip
        assert len(rows) == 2 + rounds * (1 + p + p * (p + 1) // 2)
        values = {float(row["value"]) for row in rows[2:]}
        spells = SPELLS[one]
        for column in spells.select(pl.selectors.numeric()).iter_columns():
            assert not values & set(column.cast(pl.Float64).unique().to_list()) - {0.0, 1.0}
        told = {cell for row in rows for cell in row.values()}
        for name in (*IDS, "start_at", "stop_at"):
            assert not told & set(spells[name].cast(pl.String).to_list())


def test_what_the_network_knows_of_effects_follows_from_those_lists_alone(
    pooled_here: Path,
) -> None:
    lists, asked = left(pooled_here), iter(range(1, 100))

    def ask(_: np.ndarray) -> dict[str, Derivatives]:
        this = f"effects {next(asked)}"
        return {
            one: heard(
                {r["sum"]: float(r["value"]) for r in rows if r["round"] == this}, COVARIATES
            )
            for one, rows in lists.items()
        }

    again = pooled_effects(ask, COVARIATES)

    pool = NetworkStore(str(pooled_here)).pool(ASKED.monday)
    assert again.common.coef.tolist() == pool["shared"]["coef"]
    assert again.apart.tolist() == pool["shared"]["apart"]
    of_others = {one: made for one, made in pool["operators"].items() if one not in lists}
    assert {(made["failures"], made["piston_sets"]) for made in of_others.values()} == {
        (None, None)
    }


def test_an_operator_lays_its_own_effects_beside_and_a_new_one_borrows(pooled_here: Path) -> None:
    address = str(pooled_here)
    assert 0 < failed(SPELLS["dune"]) < LEAST
    of = {one: effects_of(address, one, "2026-08-03")[1] for one in SPELLS}
    fuel = {one: table.row(by_predicate=pl.col("factor") == "shortfall_25h_on", named=True)
            for one, table in of.items()}  # fmt: skip

    assert len({(row["shared"], row["shared_low"]) for row in fuel.values()}) == 1
    assert fuel["alder"]["own_failures"] == failed(SPELLS["alder"])
    assert fuel["alder"]["shared_failures"] == sum(failed(SPELLS[one]) for one in TAKE_PART)
    assert fuel["alder"]["own_low"] < fuel["alder"]["shared"] < fuel["alder"]["own_high"]
    assert fuel["alder"]["borrowed"] is None
    # without a failure of its own: the shared ones, as an operator's own may lie about them
    assert fuel["elm"]["own"] is None
    assert fuel["elm"]["borrowed"] == pytest.approx(fuel["elm"]["shared"], rel=1e-12)
    assert fuel["elm"]["borrowed_low"] <= fuel["elm"]["shared_low"]
    narrower = fuel["dune"]["borrowed_high"] / fuel["dune"]["borrowed_low"]
    assert narrower <= fuel["elm"]["borrowed_high"] / fuel["elm"]["borrowed_low"]


def test_from_two_lists_a_few_months_apart_no_few_failures_can_be_told(tmp_path: Path) -> None:
    """One more failure between two fits, and their difference would be that set's exposure."""
    few, many = SPELLS["alder"], spells_of("alder", 70 + 12 * LEAST)
    fewer = few.filter(~pl.col("piston_set_id").is_in(
        few.filter(pl.col("mode").is_not_null())["piston_set_id"].head(LEAST - 1).implode()
    ))  # fmt: skip
    assert failed(fewer) == failed(few) - LEAST + 1
    assert failed(many) >= failed(few) + LEAST
    network = with_weeks(tmp_path / "network", {**SPELLS, "alder": fewer}, ASKED.monday)
    pool_effects(str(network), ASKED)

    with_weeks(network, SPELLS, LATER.monday)  # as many again but one
    pool_effects(str(network), LATER)
    assert left(network, LATER.monday)["alder"] == left(network)["alder"]
    assert left(network, LATER.monday)["birch"] == left(network)["birch"]
    own = effects_of(str(network), "alder", LATER.monday)[1]
    assert own["own_failures"][0] == failed(fewer)

    with_weeks(network, {**SPELLS, "alder": many}, "2027-01-04")
    found = pool_effects(str(network), replace(ASKED, monday="2027-01-04"))
    assert found["operators"]["alder"]["failures"] == failed(many)


def test_the_lists_stay_when_the_network_is_swept_and_one_file_of_a_pool_does_too(
    pooled_here: Path,
) -> None:
    store = NetworkStore(str(pooled_here))
    assert store.sweep() == []
    for made in store.pool(ASKED.monday)["operators"].values():
        assert store.is_whole(Written(*made["rows"]))


def test_a_spell_that_cannot_be_used_costs_only_its_own_operator(tmp_path: Path) -> None:
    broken = SPELLS["birch"].with_columns(
        stop_h=pl.when(pl.int_range(pl.len()) == 3).then("start_h").otherwise("stop_h")
    )
    network = with_weeks(tmp_path / "network", {**SPELLS, "birch": broken}, ASKED.monday)

    found = pool_effects(str(network), ASKED)

    assert tuple(left(network)) == ("alder", "cedar")
    assert found["rests_on"]["operators"] == 2
    assert effects_of(str(network), "birch", ASKED.monday)[1]["own"].null_count() == len(COVARIATES)


def test_what_cannot_be_shared_is_refused_with_what_to_do(tmp_path: Path) -> None:
    network = str(tmp_path / "network")
    with pytest.raises(StoreError, match="network week"):
        pool_effects(network, ASKED)
    with pytest.raises(StoreError, match="network pool"):
        effects_of(network, "alder", ASKED.monday)
    small = {one: SPELLS[one] for one in ("dune", "elm")}
    with_weeks(tmp_path / "network", small, ASKED.monday)
    with pytest.raises(StoreError, match=f"fewer than {LEAST} ring-land.*Nothing left"):
        pool_effects(network, ASKED)
    assert left(tmp_path / "network") == {}


def test_a_home_borrows_what_all_but_its_own_operator_found(pooled_here: Path) -> None:
    address = str(pooled_here)
    without_alder, for_dune = (shared_with(address, one, "2026-08-03") for one in ("alder", "dune"))

    assert (without_alder.monday, without_alder.operators) == (ASKED.monday, 2)
    assert without_alder.failures == sum(failed(SPELLS[one]) for one in ("birch", "cedar"))
    assert for_dune.operators == 3
    assert for_dune.failures == without_alder.failures + failed(SPELLS["alder"])
    shared = NetworkStore(address).pool(ASKED.monday)["shared"]
    assert for_dune.factors == tuple(shared["factors"])
    told = [effect.log_ratio for effect in for_dune.effects]
    assert told == pytest.approx(shared["coef"], abs=1e-12)
    apart = {effect.factor: effect.apart for effect in for_dune.effects}
    assert min(apart.values()) >= SETTINGS.number("network.least_apart")
    by_alder = without_alder.effects[0].log_ratio - told[0]
    assert 0 < abs(by_alder) < 3 * for_dune.effects[0].sd


def test_a_pool_of_one_operator_gives_it_nothing_to_borrow(tmp_path: Path) -> None:
    network = with_weeks(
        tmp_path / "n", {one: SPELLS[one] for one in ("alder", "dune")}, ASKED.monday
    )
    pool_effects(str(network), ASKED)

    assert shared_with(str(network), "dune", ASKED.monday).operators == 1
    with pytest.raises(StoreError, match="Nobody but alder takes part"):
        shared_with(str(network), "alder", ASKED.monday)


def test_the_weeks_of_a_home_borrow_from_the_monday_of_the_pool_on(
    pooled_here: Path, tmp_path: Path
) -> None:
    home, file = Home(tmp_path / "home").prepare(), tmp_path / "shared.json"
    at_home = ["--home", str(home.folder), "network"]
    before, on = (WeekKey(one, None) for one in ("2026-06-29", ASKED.monday))
    digests = [givens_of(home, key)["shared_effects"]() for key in (before, on)]

    def said(*arguments: str) -> str:
        run = CliRunner().invoke(main, [*at_home, *arguments])
        return f"{run.exit_code} {run.output}"

    made = said("effects", str(pooled_here), "dune", "--as-of", ASKED.monday, "--file", str(file))
    took = said("borrow", str(file))
    after = [givens_of(home, key)["shared_effects"]() for key in (before, on)]

    assert made.startswith("0 ")
    assert f"its own record taken off: {file}" in made
    assert took.startswith("0 ")
    assert f"from the weeks of {ASKED.monday} on: 3 other operators" in took
    assert digests[0] == digests[1] == after[0], "a week before it was shared knows nothing of it"
    assert after[1][0] == shared_with(str(pooled_here), "dune", ASKED.monday)
    assert after[1][1] != digests[1][1], "the inputs of the fits are others"

    kept = home.shared_effects / f"{ASKED.monday}.json"
    kept.write_text("{}", encoding="utf-8")
    assert any("shared-effects" in line for line in _shared_effects(home))
    assert said("borrow", str(kept)).startswith("1 ")
    assert "does not begin with form" in said("borrow", str(kept))
    assert said("borrow").startswith("2 ")
    assert ASKED.monday in said("borrow", "--off")
    assert givens_of(home, on)["shared_effects"]() == digests[1]


def test_the_commands_say_what_is_shared_what_it_rests_on_and_who_took_no_part(
    tmp_path: Path,
) -> None:
    network = str(with_weeks(tmp_path / "network", SPELLS, ASKED.monday))
    home, day = ["--home", str(tmp_path / "home"), "network"], ["--as-of", ASKED.monday]

    shared = CliRunner().invoke(main, [*home, "pool", network, *day])
    of_dune = CliRunner().invoke(main, [*home, "effects", network, "dune", *day])
    of_fir = CliRunner().invoke(main, [*home, "effects", network, "fir", *day])

    assert shared.exit_code == 0, shared.output
    assert "what 3 of 5 operators share" in shared.output
    assert (
        f"Took no part, as below {LEAST} fractures or without usable spells: dune, elm"
        in shared.output
    )
    assert "Fuel below need in hard running, per 1 octane numbers more: 1." in shared.output
    assert of_dune.exit_code == 0, of_dune.output
    assert f"own: {failed(SPELLS['dune'])} ring-land fractures" in of_dune.output
    assert "  borrowed: 1." in of_dune.output
    assert of_fir.exit_code == 1
    assert "alder, birch, cedar, dune, elm" in of_fir.output
    told = json.loads((tmp_path / "network" / f"pools/{ASKED.monday}.json").read_text())
    assert f"{told['shared']['rounds']} rounds" in shared.output
