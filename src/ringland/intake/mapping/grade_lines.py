"""A draft's lines on a column of grades: what it can read of them, and each word it must ask."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.mapping.column_evidence import Evidence
from ringland.intake.mapping.draft_lines import one_line, quoted
from ringland.intake.mapping.grade_words import GRADE_COLUMNS, GradeError, grade_of
from ringland.intake.mapping.heading_match import Guess
from ringland.intake.mapping.mapping_entries import ASKED
from ringland.intake.mapping.mapping_rules import NO_FUEL

_MOST_WORDS = 12


def grade_heading(
    kind: RecordKind, guesses: Mapping[str, Guess], columns: Mapping[str, Evidence]
) -> str | None:
    """The column that says octane in words; None if none does or figures stand elsewhere."""
    if "octane_aki" not in kind.schema.columns():
        return None
    figures = {guesses[name].heading for name in GRADE_COLUMNS if name in guesses}
    words = [name for name, shown in columns.items() if shown.are_grades]
    if any(columns[name].are_bare_numbers for name in figures - set(words)):
        return None
    if len(words) > 1:
        words = [name for name in words if columns[name].is_headed_as_grade]
    return words[0] if words else None


def grade_lines(shown: Evidence) -> Iterator[str]:
    """The table's entry on grades."""
    asked = []
    for word in shown.cells.str.to_lowercase().unique(maintain_order=True):
        try:
            grade_of(word)
        except GradeError:
            asked.append(word)
    yield "[table.grades]"
    first = ", ".join(one_line(cell) for cell in shown.cells.unique(maintain_order=True)[:3])
    yield f"column = {quoted(shown.heading)}  # e.g. {first}"
    if not asked:
        return
    yield "[table.grades.words]"
    yield '# What does each word mean? Octane with its scale: "93 AKI", "95 RON";'
    yield '# "87" where nobody knows the scale, "" where nobody knows at all;'
    yield f'# "{NO_FUEL}" where it is something else that was sold: such rows are left out.'
    for word in asked[:_MOST_WORDS]:
        yield f"{quoted(word)} = {quoted(ASKED)}"
