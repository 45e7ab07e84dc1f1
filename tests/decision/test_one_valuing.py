"""A step is valued by one road: list, plan, season and study go by `make_week_decisions`."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
VALUING = {"option_table", "Season", "ChancesAhead", "plan_week", "alternatives", "readings_of"}
"""What values steps or chooses among them."""

MADE_FROM = {
    "src/ringland/decision/value/action_options.py",
    "src/ringland/decision/value/booster_offers.py",
    "src/ringland/decision/value/chances_ahead.py",
    "src/ringland/decision/value/fuel_beliefs.py",
    "src/ringland/decision/value/fuel_trial.py",
    "src/ringland/decision/value/option_outcome.py",
    "src/ringland/decision/plan/simple_policies.py",
    "src/ringland/decision/week_decisions.py",
    "src/ringland/decision/plan/week_planner.py",
}


def imports_of(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("ringland")
        for alias in node.names
    }


def test_nothing_but_the_weeks_decisions_values_a_step() -> None:
    """The study of what the plan saves once looked a season ahead where the command looked a month.

    So nobody but the week's decisions may reach for what values a step: neither a page nor the
    pipeline nor a study.
    """
    files = [
        path
        for folder in ("src", "pipelines", "tests/studies", "synthetic_data")
        for path in sorted((ROOT / folder).rglob("*.py"))
    ]
    reached = {
        str(path.relative_to(ROOT)): sorted(found)
        for path in files
        if (found := imports_of(path) & VALUING) and str(path.relative_to(ROOT)) not in MADE_FROM
    }

    assert files
    assert reached == {}


def test_the_command_and_the_study_decide_by_the_weeks_decisions() -> None:
    def who(name: str, folder: str) -> list[str]:
        return [path.stem for path in (ROOT / folder).rglob("*.py") if name in imports_of(path)]

    assert who("make_week_decisions", "pipelines")
    assert who("make_week_decisions", "src/ringland/decision") == ["operator_week"]
    assert who("decide_week", "tests/studies")


def test_whatever_is_priced_goes_by_the_hazard_the_shop_believes() -> None:
    """What-ifs and the season's rules read the fit as it stands while the plan read it as the
    shop believes it: a page could say that better fuel harms beside a list that ordered it."""
    reach = [
        str(path.relative_to(ROOT))
        for folder in ("src", "pipelines")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if "planning_hazard" in imports_of(path)
    ]

    # The docks' comparison holds failures seen against the fit: it prices nothing.
    assert reach == ["src/ringland/decision/value/fuel_beliefs.py", "pipelines/rooms/risk.py"]
    assert {
        path.stem
        for path in (ROOT / "pipelines").rglob("*.py")
        if "shop_hazard" in imports_of(path)
    } == {"decision", "pages"}
