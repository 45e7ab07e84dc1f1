"""Words in a row that say it is no record, or that it takes an earlier one back.

A card that was declined, a booking nobody came for, a sale reversed the next day: such rows
look like the others but for one word.  A draft writes them down where the user sees it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.mapping.column_evidence import Evidence
from ringland.intake.mapping.draft_lines import quoted

_NO_RECORD = re.compile(
    r"(?i)^(declined?|rejected|denied|not approved|void(ed)?|cancel(l?ed)?|deleted|aborted"
    r"|no[ -]?show|never came|abgelehnt|annulliert|ungültig|nicht erschienen|refusée?|annulée?"
    r"|rechazad[oa]|cancelad[oa]|anulad[oa])$"
)
_TAKEN_BACK = re.compile(
    r"(?i)^(refund(ed)?|revers(al|ed)|charge ?back|storno|storniert|gutschrift|erstattung"
    r"|remboursement|reembolso|devoluci[oó]n)$"
)
_KINDS = {"fills", "deliveries", "sessions", "hour_readings", "transfers", "drains"}
_MOST_WORDS = 12


def row_word_lines(
    kind: RecordKind, columns: Mapping[str, Evidence], used: Collection[str]
) -> Iterator[str]:
    """A draft's lines on rows that are no record, by the words of columns it does not use."""
    if kind.name not in _KINDS:
        return
    out: dict[str, list[str]] = {}
    back: dict[str, list[str]] = {}
    for heading, shown in columns.items():
        words = shown.cells.str.to_lowercase().unique(maintain_order=True).to_list()
        if heading in used or len(words) > _MOST_WORDS:
            continue
        if found := [word for word in words if _NO_RECORD.match(word)]:
            out[heading] = found
        if found := [word for word in words if _TAKEN_BACK.match(word)]:
            (back if "volume_l" in kind.schema.columns() else out).setdefault(heading, found)
    if out:
        yield "# Rows with these words look like no record. They are left out, and counted."
        yield f"leave_out = {_table(out)}"
    if back:
        yield "# Rows with these words look as if they took back an earlier one: they are set"
        yield "# aside, and the row they take back becomes a doubt with its remedy."
        yield f"take_back = {_table(back)}"


def _table(words: Mapping[str, list[str]]) -> str:
    lists = (f"{quoted(h)} = [{', '.join(map(quoted, found))}]" for h, found in words.items())
    return f"{{ {', '.join(lists)} }}"
