"""123 files as people keep them: none misread in silence, most right after three answers."""

import pytest

from tests.intake.file_cases import CASES
from tests.intake.file_judge import Outcome, judge

OUTCOMES: dict[str, Outcome] = {}
LEAST_RIGHT = 90


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_file_is_read_as_it_is_or_said_to_be_unclear(case) -> None:
    outcome = OUTCOMES[case.name] = judge(case)

    assert not outcome.is_silent, outcome
    if not case.told:
        assert outcome.is_right, outcome


def test_most_files_are_right_after_three_answers_or_fewer() -> None:
    assert sum(not case.told for case in CASES) >= LEAST_RIGHT
    assert len(CASES) == 123
