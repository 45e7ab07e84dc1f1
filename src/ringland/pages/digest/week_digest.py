"""The week in a mail: plain text and HTML, ready to send; no picture, no link to a network."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ringland.contracts.decision_tables import DO_NOT_RENT, RENT_ONLY
from ringland.decision.jobs.call_lines import action_line, summary_line
from ringland.pages.digest import digest_words
from ringland.pages.fleet.fleet_page import change_title, need_of
from ringland.pages.week.fuel_advice_words import age_rule_line, dock_rule_line
from ringland.pages.week.plan_lines import hand_lines, kit_lines, waiting_groups
from ringland.pages.week.week_report import HullSheet, WeekReport, hulls_at
from ringland.words import fixed_words as words
from ringland.words import site_words
from ringland.words.number_words import (
    chance_text,
    day_text,
    known_text,
    range_text,
)

WIDTH = 76
"""Columns a mail program shows without a break (RFC 5322 asks for at most 78)."""


def digest_subject(report: WeekReport) -> str:
    """The subject line, e.g. 'Hulls, week of Mon 17 Aug 2026: 1 to keep off, 8 to check'."""
    calls = Counter(str(sheet.call["call"]) for sheet in report.hulls)
    parts = [said.format(n=calls[call]) for call, said in digest_words.TO_DO.items() if calls[call]]
    return digest_words.SUBJECT.format(
        demo=digest_words.DEMO_SUBJECT.format(label=words.DEMO_LABEL) if report.is_demo else "",
        week=day_text(report.as_of),
        to_do=", ".join(parts) or digest_words.NOTHING_TO_CHECK,
    )


def digest_sections(report: WeekReport) -> list[tuple[str, list[str]]]:
    """The digest as headings with their lines, in the order of what matters."""
    currency = report.prices.currency
    shop = [sheet for sheet in report.assessed if need_of(sheet) == "shop"]
    dock = _alike([one for one in report.assessed if one.call["call"] == RENT_ONLY])
    rest = [one for one in report.assessed if one.call["call"] not in (DO_NOT_RENT, RENT_ONLY)]
    unassessed = report.not_assessed
    no_hull = [digest_words.NO_HULL]
    change = report.change
    sections = [
        (digest_words.SHOP, [_hull_line(sheet, report) for sheet in shop] or no_hull),
        (
            digest_words.DOCK,
            dock or no_hull,
        ),
        (digest_words.OTHERS, _alike(rest) or no_hull),
        *_released_section(report),
        (
            digest_words.UNASSESSED,
            [
                digest_words.REASON.format(
                    hull=sheet.hull_id, reason=f"{sheet.call['says']}. {sheet.call['reason']}"
                )
                for sheet in unassessed
            ]
            or no_hull,
        ),
        (
            digest_words.CHANGES,
            [
                change_title(change),
                *(
                    digest_words.CHANGE.format(hull=hull, change=line)
                    for hull, line in change.lines
                ),
            ],
        ),
        (
            digest_words.FUEL_RULE,
            [
                age_rule_line(report.assumptions),
                *(
                    digest_words.DOCK_RULE.format(
                        dock=row["dock_id"],
                        rule=dock_rule_line(
                            row, hulls_at(report, row["dock_id"]), report.assumptions
                        ),
                    )
                    for row in report.dock_fuel.iter_rows(named=True)
                ),
            ],
        ),
    ]
    calls = [sheet.call for sheet in report.hulls]
    waiting = waiting_groups(calls, report.catalogue)
    sections.append(
        (
            digest_words.ROOM,
            [
                *(
                    digest_words.WAITING.format(hulls=", ".join(group["hulls"]), why=group["line"])
                    for group in waiting
                ),
                *hand_lines(report.decisions, report.catalogue, currency),
                *kit_lines(report.decisions),
            ],
        )
    )
    sections.append((words.CAUTIONS_HEADING, [words.NEVER_CLEARANCE, *words.CAUTIONS]))
    return sections


def _alike(sheets: Sequence[HullSheet]) -> list[str]:
    """The hulls of the same state in one line each."""
    groups: dict[str, list[str]] = {}
    for sheet in sheets:
        groups.setdefault(str(sheet.call["says"]), []).append(sheet.hull_id)
    return [
        digest_words.GROUP.format(says=says, hulls=", ".join(hulls))
        for says, hulls in groups.items()
    ]


def _released_section(report: WeekReport) -> list[tuple[str, list[str]]]:
    """Tests and rebuild sheets let go by name, hull by hull; left out where none is."""
    lines = [
        digest_words.REASON.format(hull=sheet.hull_id, reason=line)
        for sheet in report.hulls
        for line in sheet.released
    ]
    return [(digest_words.RELEASED, lines)] if lines else []


def digest_opening(report: WeekReport, restated: str = "") -> list[str]:
    """The lines before the first heading; `restated` is what a restated week says of itself."""
    lines = [digest_words.AS_KNOWN.format(instant=known_text(report.as_of)), *report.model_doubts]
    lines.append(restated)
    if report.is_demo:
        lines.insert(0, site_words.INVENTED.format(label=words.DEMO_LABEL))
    calls = [sheet.call for sheet in report.assessed]
    lines.append(summary_line(calls, report.decisions.horizon_d, report.prices.currency))
    return [line for line in lines if line]


def digest_text(report: WeekReport, restated: str = "") -> str:
    """The digest as plain text, lines of at most 76 columns but for words that are longer."""
    out = [digest_subject(report), ""]
    for line in digest_opening(report, restated):
        out += _wrapped(line, "")
    for heading, lines in digest_sections(report):
        out += ["", heading.upper(), ""]
        for line in lines:
            out += _wrapped(line, "- ")
    return "\n".join(out) + "\n"


def _hull_line(sheet: HullSheet, report: WeekReport) -> str:
    chance = sheet.chance
    odds = (
        digest_words.FAILED_ALREADY
        if chance["chance_30d"] is None
        else digest_words.ODDS.format(
            chance=chance_text(chance["chance_30d"]),
            span=range_text(chance["chance_30d_low"], chance["chance_30d_high"]),
        )
    )
    return digest_words.HULL.format(
        hull=sheet.hull_id,
        dock=sheet.dock_id,
        call=sheet.call["says"],
        odds=odds,
        reason=sheet.call["reason"],
        action=_action(sheet, report),
    )


def _action(sheet: HullSheet, report: WeekReport) -> str:
    return action_line(
        sheet.call, report.catalogue, report.decisions.horizon_d, report.prices.currency
    )


def _wrapped(line: str, mark: str) -> list[str]:
    """The line in pieces; text of the records may hold no line break of its own."""
    words_left = line.split()
    pieces, piece = [], mark
    for word in words_left:
        joined = f"{piece}{'' if piece in (mark, ' ' * len(mark)) else ' '}{word}"
        if len(joined) > WIDTH and piece.strip(" -"):
            pieces.append(piece)
            piece = " " * len(mark) + word
        else:
            piece = joined
    return [*pieces, piece]
