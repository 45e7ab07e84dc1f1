"""Mutated files against the truth: nothing misread, lost or doubled in silence."""

from collections import Counter

import pytest

from tests.intake.file_judge import judge
from tests.intake.mutated_files import mutated


def silent_by_kind(seeds: range) -> tuple[Counter, Counter, list[str]]:
    """Files by kind of mutation, those misread in silence, and what was misread."""
    made, silent, said = Counter(), Counter(), []
    for seed in seeds:
        name, case = mutated(seed)
        outcome = judge(case)
        made[name] += 1
        if outcome.is_silent:
            silent[name] += 1
            said.append(f"seed {seed}, {name}: {outcome}")
    return made, silent, said


def test_no_mutated_file_is_misread_in_silence() -> None:
    made, silent, said = silent_by_kind(range(60))

    assert len(made) > 10
    assert not silent, said[:3]


@pytest.mark.study
def test_no_file_of_2000_is_misread_in_silence() -> None:
    made, silent, said = silent_by_kind(range(3000, 5000))

    print("\n".join(f"{name}: {silent[name]} of {count}" for name, count in made.items()))
    assert not silent, said[:10]
