"""What is written twice, taken back, split or put right later."""

from tests.intake.file_cases.case import US, FileCase, fill, text

OUTSIDE = {"source": "outside"}
HEAD = "hull_id,filled_at,volume_l,source"
FIRST = "H01,2025-07-14T19:30:00Z,40.5,outside"
ONE = fill(US, "H01", "2025-07-14 14:30", 40.5)


def _contract(name: str, truth: list, *files: list[str], **options: object) -> FileCase:
    named = {f"fills {n}.csv": text(HEAD, *lines) for n, lines in enumerate(files, start=1)}
    return FileCase(name, named, truth, contract=True, **options)


DUPLICATES = [
    _contract("the same line twice", [ONE], [FIRST, FIRST]),
    _contract("the same line in two exports", [ONE], [FIRST], [FIRST]),
    _contract(
        "the same fill in pump log and card export",
        [ONE],
        [FIRST],
        ["H01,2025-07-14T19:33:00Z,40.46,outside"],
        told=True,
    ),
    _contract(
        "a time put right by ten minutes",
        [ONE],
        [FIRST],
        ["H01,2025-07-14T19:20:00Z,40.5,outside"],
        told=True,
    ),
    _contract(
        "litres put right in a later export",
        [ONE],
        [FIRST],
        ["H01,2025-07-14T19:30:00Z,42.5,outside"],
        told=True,
    ),
    _contract(
        "a refund below its fill",
        [fill(US, "H02", "2025-07-14 15:00", 20)],
        [FIRST, "H01,2025-07-14T19:40:00Z,-40.5,outside", "H02,2025-07-14T20:00:00Z,20,outside"],
    ),
    _contract(
        "a refund in a later export",
        [],
        [FIRST],
        ["H01,2025-07-14T19:40:00Z,-40.5,outside"],
        told=True,
    ),
    _contract(
        "one fill in two parts within a minute",
        [ONE, fill(US, "H01", "2025-07-14 14:30", 12.0)],
        [FIRST, "H01,2025-07-14T19:30:00Z,12,outside"],
    ),
    _contract(
        "two like fills three hours apart",
        [ONE, fill(US, "H01", "2025-07-14 17:30", 40.5)],
        [FIRST, "H01,2025-07-14T22:30:00Z,40.5,outside"],
    ),
    _contract(
        "two fills of different litres ten minutes apart",
        [ONE, fill(US, "H01", "2025-07-14 14:40", 11.0)],
        [FIRST, "H01,2025-07-14T19:40:00Z,11,outside"],
    ),
    _contract(
        "two hulls filled alike one after the other",
        [ONE, fill(US, "H02", "2025-07-14 14:34", 40.5)],
        [FIRST, "H02,2025-07-14T19:34:00Z,40.5,outside"],
    ),
]
