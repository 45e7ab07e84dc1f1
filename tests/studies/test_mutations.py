"""The command that asks whether the tests notice a wrong line; its result: `mutations.md`."""

import ast
from collections import Counter

from tests.studies.mutations import ROOT, drawn, files_facing, mutations_of

MODULE = ROOT / "src" / "ringland" / "survival" / "lives" / "age_replacement.py"


def test_each_mutation_changes_one_line_and_leaves_code_that_can_be_read() -> None:
    lines = MODULE.read_text().splitlines()
    found = mutations_of(MODULE)

    assert len(found) > 100
    assert Counter(one.after.strip() for one in found)["middle = 0.5 / (low + high)"] == 1
    for one in found:
        assert lines[one.line - 1] == one.before != one.after
        ast.parse("\n".join([*lines[: one.line - 1], one.after, *lines[one.line :]]))


def test_a_seed_draws_the_same_lines_again() -> None:
    assert drawn(3, 20) == drawn(3, 20) != drawn(4, 20)


def test_every_drawn_line_has_tests_to_face() -> None:
    assert [one.module for one in drawn(1, 100) if not files_facing(one.module)] == []
