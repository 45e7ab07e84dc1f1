"""Fuel rules, docks, model card, lineage: their figures are those of the tables they come from."""

import json
from dataclasses import replace

import polars as pl
import pytest

from ringland.decision.value.fuel_rules import WHOLE_FLEET
from ringland.decision.value.season_rules import SeasonRuleOutcomes, SeasonRules
from ringland.pages.docks.docks_page import docks_context
from ringland.pages.frame.site_map import GROUPS, navigation
from ringland.pages.fuel_rules.fuel_rules_page import rules_context
from ringland.pages.lineage.effect_lineage import LINEAGE, sets_behind
from ringland.pages.lineage.lineage_page import SHOWN_SETS, lineage_context
from ringland.pages.site.proof_pages import CARD_JSON, PROOF_PAGES
from ringland.pages.site.report_page import build_site
from ringland.risk.dock_comparison import DockRows
from ringland.survival.estimates import Estimate
from ringland.words.manner import Manner
from ringland.words.number_words import number_text
from tests.decision.small_fleet import small_fleet
from tests.pages.small_proof import small_proof
from tests.pages.test_report_page import Page

FLEET = small_fleet()
REPORT = FLEET.report()
PROOF = small_proof(FLEET)
SITE = build_site(REPORT, proof=PROOF)
MOST_BYTES = 200_000
"""What a page may weigh beside the shared script (issue 8)."""


def text_of(name: str, site: dict[str, bytes] = SITE) -> str:
    return " ".join(Page(site[PROOF_PAGES[name]]).text.split())


def test_each_page_stands_in_the_site_small_and_in_the_navigation() -> None:
    for path in PROOF_PAGES.values():
        assert len(SITE[path]) < MOST_BYTES
        assert 'aria-current="page"' in SITE[path].decode()
    bare = build_site(REPORT)
    assert not set(PROOF_PAGES.values()) & set(bare)
    assert b"model-card.html" not in bare["how-we-know.html"]


def test_the_navigation_has_at_most_six_groups_and_marks_where_one_is() -> None:
    paths = {page.path for group in GROUPS for page in group.pages}
    top, own = navigation("card", paths)

    assert len(top) <= 6
    assert [entry.label for entry in top if entry.current] == ["How we know"]
    assert [entry.path for entry in own if entry.current == "page"] == ["model-card.html"]
    assert navigation("hull", paths)[1] == []
    assert [entry.label for entry in navigation("fleet", {"index.html"})[0]] == ["This week"]


def test_every_rule_is_told_with_its_range_and_as_association() -> None:
    text = text_of("rules")
    rows = PROOF.rules.outcomes.filter(pl.col("dock_id") == WHOLE_FLEET)

    assert rows.height == 7
    for row in rows.iter_rows(named=True):
        fewer, low, high = (
            number_text(row[f"failures_fewer{end}"], 1) for end in ("", "_low", "_high")
        )
        assert f"{fewer} ({low} to {high})" in text
        assert number_text(row["e_value"], 1) in text
    assert "does not prove what causes it" in text
    assert "VanderWeele and Ding (2017)" in text
    assert f"{PROOF.rules.n_failures} ring failure" in text
    for line in PROOF.rules.outcomes["cannot_separate"].drop_nulls():
        assert f"Cannot separate: {line}" in text


def test_the_rule_pictures_show_the_tables_figures() -> None:
    context = rules_context(REPORT, PROOF.rules, "control")
    fleet = PROOF.rules.outcomes.filter(pl.col("dock_id") == WHOLE_FLEET)

    drawn = context["figures"]["rules"].data[0]

    # pictures carry four decimals
    assert list(drawn.x) == pytest.approx(fleet["failures_fewer"].to_list(), abs=1e-4)
    low = [x - half for x, half in zip(drawn.x, drawn.error_x.arrayminus, strict=True)]
    assert low == pytest.approx(fleet["failures_fewer_low"].to_list(), abs=2e-4)


def test_without_a_hazard_the_rules_page_says_why() -> None:
    none = SeasonRules(
        PROOF.rules.since, PROOF.rules.until, SeasonRuleOutcomes.create_empty(), 0, "no fit"
    )

    text = text_of("rules", build_site(REPORT, proof=replace(PROOF, rules=none)))

    assert "No fuel rule can be compared: no fit." in text


def test_docks_are_told_with_counts_limits_and_what_cannot_be_told() -> None:
    text = text_of("docks")

    for row in PROOF.docks.iter_rows(named=True):
        assert number_text(row["rate"], 2) in text
        assert f"{row['n_failures']} failure" in text
        assert number_text(row["ratio_high"], 2) in text
    assert "cannot be separated" in text  # both docks of the small fleet burned one grade


def test_a_dock_beyond_its_range_is_said_to_stand_out() -> None:
    row = PROOF.docks.row(0, named=True) | {"ratio": 3.0, "ratio_low": 1.4, "ratio_high": 6.0}
    other = PROOF.docks.row(1, named=True)
    docks = pl.DataFrame([row, other], schema=PROOF.docks.schema)

    context = docks_context(REPORT, docks)

    assert f"{row['dock_id']} stands out from the fleet" in context["lead"]
    assert "more than its fuel and use explain" in context["docks"][0]["says"]


def test_a_fleet_of_one_dock_and_one_without_running_are_told_so() -> None:
    assert "nothing to compare" in docks_context(REPORT, PROOF.docks.head(1))["lead"]
    empty = build_site(REPORT, proof=replace(PROOF, docks=DockRows.create_empty()))
    assert "No dock has running on record yet" in text_of("docks", empty)


def test_the_model_card_names_data_priors_checks_control_and_contest() -> None:
    text = text_of("card")

    assert PROOF.card.data.sha256 in text
    assert PROOF.card.contest.verdict in text
    assert PROOF.card.control.sentence.replace(" %", "\N{NO-BREAK SPACE}%").split(".")[0] in text
    for row in PROOF.card.priors.iter_rows(named=True):
        assert f"{row['prior_share'] * 100:.0f} %" in text
    for verdict in PROOF.card.checks.values():
        assert verdict.outcome in text
    assert "is_forged" not in text  # covariates go by the pages' own names


def test_a_decided_contest_shows_both_scores() -> None:
    lead = Estimate(0.0021, 0.0004, 0.0038, 0.95, "percentile")
    decided = replace(
        PROOF.card.contest, n_weeks=30, n_failures=9, champion_brier=0.031,
        challenger_brier=0.0289, lead=lead, stays=False, verdict="clearly nearer",
    )  # fmt: skip
    site = build_site(REPORT, proof=replace(PROOF, card=replace(PROOF.card, contest=decided)))

    text = text_of("card", site)

    assert "0.0021 (0.0004 to 0.0038)" in text
    assert "0.0310" in text
    assert "0.0289" in text


def test_the_card_is_there_for_another_program_too() -> None:
    card = json.loads(SITE[CARD_JSON])

    assert card["data"]["spells_sha256"] == PROOF.card.data.sha256
    assert card["contest"]["verdict"] == PROOF.card.contest.verdict
    assert sum(card["failures"].values()) == REPORT.evidence.mode_counts["n_failures"].sum()


def test_every_failure_behind_the_effects_is_listed_with_where_it_is_written() -> None:
    lives = FLEET.lives.with_columns(
        ended_at=pl.when(pl.col("state") == "failed").then(
            pl.lit(REPORT.as_of) - pl.duration(days=pl.int_range(pl.len()))
        )
    )
    engines = lives.filter(pl.col("state") == "failed")
    failures = engines.select("engine_id", "mode", found_at="ended_at").with_columns(
        source_file=pl.lit("failures 2026.csv"), source_row=pl.int_range(pl.len()) + 2
    )
    fitted = FLEET.lives.select("piston_set_id").with_columns(
        source_file=pl.lit("sets.csv"), source_row=pl.int_range(pl.len()) + 2
    )
    sets = sets_behind(lives, FLEET.spells, {"failures": failures, "piston_sets": fitted})
    listed = {row["set"]: row for row in lineage_context(REPORT, sets, {})["failed"]}

    assert sets.height == FLEET.lives.height
    assert sets["counts"].sum() == FLEET.spells["mode"].is_not_null().sum()
    assert set(listed) == set(engines["piston_set_id"])
    third = engines["piston_set_id"][2]
    assert listed[third]["failure_at"] == "failures 2026.csv, row 4"
    assert sets.filter(pl.col("piston_set_id") == FLEET.lives["piston_set_id"][0])[
        "set_row"
    ].to_list() == [2]


def test_a_set_without_exposure_brings_nothing_and_an_unplaced_row_is_said() -> None:
    first = FLEET.lives.head(1)
    sets = sets_behind(
        first,
        FLEET.spells.clear(),
        {
            "failures": pl.DataFrame(
                schema={"engine_id": pl.String, "mode": pl.String,
                        "found_at": pl.Datetime("us", "UTC")}
            ),
            "piston_sets": first.select("piston_set_id"),
        },
    )  # fmt: skip

    assert sets.columns == list(LINEAGE)
    assert sets.select("n_spells", "counts", "set_file").row(0) == (0, False, None)


def test_a_long_list_of_failures_is_cut_and_says_so() -> None:
    one = PROOF.sets.filter(pl.col("state") == "failed").head(1)
    many = pl.concat([one] * (SHOWN_SETS + 7))

    context = lineage_context(REPORT, many, {})

    assert len(context["failed"]) == SHOWN_SETS
    assert context["n_more"] == 7


def test_the_tables_join_the_exports_with_units_in_their_headings() -> None:
    rules = pl.read_parquet(SITE["tables/fuel_rules.parquet"])

    assert rules.height == PROOF.rules.outcomes.height
    assert "tables/docks_compared.csv" in SITE
    assert "tables/piston_sets_behind.csv" in SITE
    for name in ("fuel_rules", "docks_compared", "piston_sets_behind"):
        table = pl.read_parquet(SITE[f"tables/{name}.parquet"])
        for column, dtype in table.schema.items():
            if dtype.is_numeric():
                assert "(" in column or "per 1000" in column, column


def test_us_units_reach_the_rules_page() -> None:
    site = build_site(replace(REPORT, manner=Manner(units="us")), proof=PROOF)

    text = text_of("rules", site)

    assert "a gallon" in text
    assert "a litre" not in text


def test_pages_of_proof_are_the_same_bytes_again() -> None:
    again = build_site(REPORT, proof=PROOF)

    assert [path for path in SITE if SITE[path] != again[path]] == []
