"""How strongly each finding speaks for or against each cause, read from an editable table.

The weights are opinions with a mark and a source, not measured likelihoods.  Mode (what
broke), mechanism (how it was overloaded) and cause (why) stay apart: a finding shows a
mechanism, and one mechanism can have several causes.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from functools import cached_property
from importlib.resources import files
from typing import Any

from ringland.settings.assumptions import MARKS

UNDETERMINED = "undetermined"
KINDS = ("damage", "sound")
HEAVIEST = 2
SIDES = ("high", "low")


class CauseTableError(ValueError):
    """The cause table does not say what it must; the message names file, entry and remedy."""


@dataclass(frozen=True)
class Cause:
    """One cause group: its mechanism, its starting share, what to ask the record."""

    key: str
    name: str
    mechanism: str
    share: float
    ask: str
    prevention: str
    record_factor: str | None
    """The exposure covariate that speaks of this cause; None: the record holds none."""
    record_side: str | None
    """'high' or 'low': which side of the fleet's middle speaks for the cause."""
    own_tests: tuple[str, ...] = ()
    """Findings that test this cause itself."""


@dataclass(frozen=True)
class Finding:
    """One thing to look for: where, in which words, and its weight for each cause."""

    key: str
    part: str
    words: str
    also: tuple[str, ...]
    kind: str
    """'damage', or 'sound' for a state without damage, which must hold for the whole engine."""
    is_local: bool
    """Speaks only of the damaged cylinder: seen in one is seen, even for a sound state."""
    mark: str
    source: str
    weights: Mapping[str, float]
    marks: Mapping[str, str]
    excludes: tuple[str, ...]
    conflict: str | None
    seen_if_cause: float | None = None
    """How often a cause's own test shows where it is the cause; None: as the weight says."""
    usual: float | None = None
    """How often it is seen where it has no weight; None: as the others of its kind."""
    measures: tuple[str, ...] = ()
    """Bench measures whose verdict shows it."""
    measured_side: str | None = None
    """'high' or 'low': the side on which the reading fails; None: either."""

    def weight(self, cause: str) -> float:
        """Weight for one cause, 0 where the table says nothing."""
        return self.weights.get(cause, 0.0)

    def mark_for(self, cause: str) -> str:
        """Mark of the weight for one cause."""
        return self.marks.get(cause, self.mark)


@dataclass(frozen=True)
class Chain:
    """Damage that leads to damage, first link first."""

    links: tuple[str, ...]
    followers: tuple[str, ...]
    """Links that count for no cause of their own once the first was seen."""
    why: str


@dataclass(frozen=True)
class CauseTable:
    """All causes and findings by key, in the order of the file, with the model's settings."""

    causes: Mapping[str, Cause]
    findings: Mapping[str, Finding]
    model: Mapping[str, float]
    chains: Mapping[str, Chain] = field(default_factory=dict)

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Keys of the causes, then 'undetermined'."""
        return (*self.causes, UNDETERMINED)

    @cached_property
    def mechanisms(self) -> Mapping[str, tuple[str, ...]]:
        """Keys of the causes by mechanism: the drivers that leave the same picture."""
        groups: dict[str, tuple[str, ...]] = {}
        for key, cause in self.causes.items():
            groups[cause.mechanism] = (*groups.get(cause.mechanism, ()), key)
        return groups

    def is_driver(self, cause: str) -> bool:
        """Whether other causes share its mechanism, so that only its own tests can tell it."""
        return cause in self.causes and len(self.mechanisms[self.causes[cause].mechanism]) > 1

    def named(self, cause: str) -> str:
        """The cause's name as shown."""
        return "Undetermined" if cause == UNDETERMINED else self.causes[cause].name

    def finding_for(self, words: str) -> Finding | None:
        """The finding that a mechanic's words mean, or None; case and spaces do not count."""
        return self._by_words.get(plain(words))

    def nearest(self, words: str, number: int = 2) -> tuple[Finding, ...]:
        """The findings whose words come nearest to a mechanic's, nearest first; may be none.

        Words in common count as much as letters in order, so 'ring land gone' finds the
        broken land and 'sprak advanced' the spark.
        """
        wanted = plain(words)
        near: dict[str, float] = {}
        for known, finding in self._by_words.items():
            alike = SequenceMatcher(None, wanted, known, autojunk=False).ratio()
            mine, theirs = _stems(wanted), _stems(known)
            shared = len(mine & theirs) / max(1, min(len(mine), len(theirs)))
            near[finding.key] = max(near.get(finding.key, 0.0), (alike + shared) / 2)
        best = sorted(near, key=lambda key: -near[key])[:number]
        return tuple(self.findings[key] for key in best if near[key] >= _NEAR)

    @cached_property
    def _by_words(self) -> dict[str, Finding]:
        return {
            plain(words): finding
            for finding in self.findings.values()
            for words in (finding.key, finding.words, *finding.also)
        }


_NEAR = 0.45
"""Half of what two equal phrases share: below it a suggestion would be a guess."""
_EMPTY_WORDS = frozenset({"a", "an", "and", "at", "by", "for", "from", "in", "is", "it", "of", "on",
                          "or", "than", "the", "to", "was", "with"})  # fmt: skip


def _stems(words: str) -> frozenset[str]:
    """The telling words, cut to four letters, where 'scored' and 'scoring' still meet."""
    return frozenset(word[:4] for word in words.split() if word not in _EMPTY_WORDS)


def plain(words: str) -> str:
    """Words in lower case with single spaces, e.g. ' Bent  rod' -> 'bent rod'."""
    return " ".join(words.replace("_", " ").lower().split()).strip(" .;,")


def default_cause_table() -> CauseTable:
    """The project's own table."""
    text = files("ringland.causes").joinpath("cause_table.toml").read_text(encoding="utf-8")
    return read_cause_table(text, "cause_table.toml")


def read_cause_table(text: str, file: str) -> CauseTable:
    """The table in `text`; `file` is only named in messages.

    Raises:
        CauseTableError: a field is missing, a mark or a cause unknown, a weight outside
            -2 to +2, or two findings share their words.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CauseTableError(f"{file}: not valid TOML: {error}") from error
    try:
        groups = raw.get("group", {})
        causes = {key: _cause(key, fields) for key, fields in raw["cause"].items()}
        findings = {
            key: _finding(file, key, fields, causes, groups)
            for key, fields in raw["finding"].items()
        }
        model = {key: float(fields["value"]) for key, fields in raw["model"].items()}
        chains = {
            key: Chain(tuple(fields["links"]), tuple(fields.get("followers", ())), fields["why"])
            for key, fields in raw.get("chain", {}).items()
        }
    except (KeyError, TypeError, AttributeError) as error:
        raise CauseTableError(f"{file}: an entry lacks the field {error}; add it.") from error
    table = CauseTable(causes, findings, model, chains)
    _check(file, table)
    return table


def _cause(key: str, fields: Mapping[str, Any]) -> Cause:
    return Cause(
        key,
        fields["name"],
        fields["mechanism"],
        float(fields["share"]),
        fields["ask"],
        fields["prevention"],
        fields.get("record_factor"),
        fields.get("record_side"),
        tuple(fields.get("own_tests", ())),
    )


def _finding(
    file: str,
    key: str,
    fields: Mapping[str, Any],
    causes: Mapping[str, Cause],
    groups: Mapping[str, list[str]],
) -> Finding:
    weights: dict[str, float] = {}
    # groups first, so that a weight for a single cause overrides its group's
    for name, weight in sorted(fields["weights"].items(), key=lambda item: item[0][0] != "@"):
        for cause in groups[name[1:]] if name.startswith("@") else [name]:
            if cause not in causes:
                raise CauseTableError(
                    f"{file}: finding.{key} weighs unknown cause {cause!r}; "
                    f"use one of {', '.join(causes)}."
                )
            weights[cause] = float(weight)
    shown = {
        name: fields[name]["value"] if name in fields else None
        for name in ("seen_if_cause", "usual")
    }
    return Finding(
        key=key,
        part=fields["part"],
        words=fields["words"],
        also=tuple(fields.get("also", ())),
        kind=fields.get("kind", "damage"),
        is_local=bool(fields.get("local", False)),
        mark=fields["mark"],
        source=fields["source"],
        weights=weights,
        marks=dict(fields.get("marks", {})),
        excludes=tuple(fields.get("excludes", ())),
        conflict=fields.get("conflict"),
        measures=tuple(fields.get("measures", ())),
        measured_side=fields.get("measured_side"),
        **shown,
    )


def _check(file: str, table: CauseTable) -> None:
    for cause in table.causes.values():
        if (cause.record_factor is None) != (cause.record_side not in SIDES):
            raise CauseTableError(
                f"{file}: cause.{cause.key} needs record_factor and record_side "
                f"({' or '.join(SIDES)}) together, or neither."
            )
        if silent := [
            key
            for key in cause.own_tests
            if key not in table.findings or not table.findings[key].weight(cause.key)
        ]:
            raise CauseTableError(
                f"{file}: cause.{cause.key} names {', '.join(silent)} as its own tests; each must "
                f"be a finding that weighs for or against it."
            )
    for key, chain in table.chains.items():
        if unknown := {*chain.links, *chain.followers} - set(table.findings):
            raise CauseTableError(f"{file}: chain.{key} names unknown finding {unknown}.")
    words_of: dict[str, str] = {}
    for finding in table.findings.values():
        where = f"{file}: finding.{finding.key}"
        if off := {c: w for c, w in finding.weights.items() if abs(w) > HEAVIEST}:
            raise CauseTableError(f"{where} has weights {off}; keep them from -2 to +2.")
        if bad := {finding.mark, *finding.marks.values()} - set(MARKS):
            raise CauseTableError(f"{where} has mark {bad}; use one of {', '.join(MARKS)}.")
        if finding.kind not in KINDS:
            raise CauseTableError(f"{where} has kind {finding.kind!r}; use one of {KINDS}.")
        if unknown := set(finding.excludes) - set(table.findings):
            raise CauseTableError(f"{where} excludes unknown finding {unknown}.")
        for words in {plain(w) for w in (finding.key, finding.words, *finding.also)}:
            if words in words_of:
                raise CauseTableError(
                    f"{where} and finding.{words_of[words]} both answer to {words!r}; "
                    f"give each its own words."
                )
            words_of[words] = finding.key
