"""Every public function and class is named somewhere in the program, or says why it waits."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
PROGRAM = [ROOT / "src", ROOT / "pipelines"]
CALLED_BY_OTHERS = {"step", "view", "asset", "asset_check", "command", "group", "rule", "schedule",
                    "sensor", "logger", "resource", "job", "io_manager"}  # fmt: skip
"""Decorators that hand a function to someone else: Dagster, the command line, a contract."""

WAITING = {
    "ringland/decision/operator_week.py": ("operator_week", "decide_week"),  # studies run them
    "ringland/decision/plan/week_planner.py": ("price_every_option",),  # a dual check of the plan
    "ringland/fuel/octane.py": ("octane_index",),  # holds octane.index_k_* to the formula
    "ringland/fuel/tank_kernel.py": ("event_order",),  # what its error tells a caller to use
    "ringland/network/operator_week.py": ("operator_week",),  # its two parts are held to it
    "ringland/pages/papers/week_bundle.py": ("week_bundle",),  # tests pack small sites with it
    "ringland/rebuilds/rebuild_scope.py": ("can_close",),  # tests ask a sheet by it
    "ringland/risk/failure_risk.py": ("chances_ahead",),  # one valuing is held against it
}
"""Not in the program but in a study, a test or a message, and why they stay.  Estimators of the
room `survival` wait for a page, each held by a test against something outside."""


def public_names(tree: ast.Module) -> Iterator[str]:
    """Functions, methods and classes that are not handed over by a decorator."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        said = {
            word for one in node.decorator_list for word in re.findall(r"\w+", ast.unparse(one))
        }
        if not said & CALLED_BY_OTHERS:
            yield node.name


def named_in(tree: ast.Module) -> Iterator[str]:
    """Every name that is read, asked of an object or written as a word of its own."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def test_every_public_name_is_used_by_the_program_or_says_why_it_waits() -> None:
    """Some 1,300 lines once stood in functions that no command and no asset reached."""
    trees = {path: ast.parse(path.read_text(encoding="utf-8"))
             for top in PROGRAM for path in top.rglob("*.py")}  # fmt: skip
    used = {name for tree in trees.values() for name in named_in(tree)}
    for top in PROGRAM:
        for page in [*top.rglob("*.j2"), *top.rglob("*.typ")]:
            used |= set(re.findall(r"\w+", page.read_text(encoding="utf-8")))
    tests = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "tests").rglob("*.py"))
    in_tests = set(re.findall(r"\w+", tests.replace(Path(__file__).read_text(), "")))

    unused = {
        (path.relative_to(ROOT).as_posix().removeprefix("src/"), name)
        for path, tree in trees.items()
        for name in public_names(tree)
        if name not in used
    }
    of_dagster = {("pipelines/weekly/assets.py", "handle_output"),
                  ("pipelines/weekly/assets.py", "load_input"),
                  ("pipelines/graph_run.py", "emit"),
                  ("ringland/pages/frame/page_files.py", "dump_bytecode"),  # Jinja's
                  ("ringland/pages/frame/page_files.py", "load_bytecode")}  # fmt: skip
    estimators = {one for one in unused if one[0].startswith("ringland/survival/")}
    waiting = {(path, name) for path, names in WAITING.items() for name in names}

    assert unused - of_dagster - estimators == waiting
    assert {name for _, name in estimators | waiting} - in_tests == set()
