"""Files of true records in a hand drawn at random, then spoilt as files are spoilt in use."""

import random
from collections.abc import Callable
from datetime import datetime, timedelta

from tests.intake.file_cases.case import DE, US, US_GAL, FileCase, Row, book, fill, meter, text

Table = list[list[str]]
DATES = {
    "month": ("%m/%d/%Y %H:%M", US, False),
    "day": ("%d/%m/%Y %H:%M", DE, True),
    "dots": ("%d.%m.%Y %H:%M", DE, True),
    "year": ("%Y-%m-%d %H:%M", US, False),
    "short": ("%m/%d/%y %H:%M", US, False),
    "twelve": ("%m/%d/%Y %I:%M %p", US, False),
}
UNITS = {"Litres": 1.0, "Gallons": US_GAL}


def mutated(seed: int) -> tuple[str, FileCase]:
    """The kind of mutation and the file."""
    rng = random.Random(seed)  # noqa: S311 - junk, not secrets
    form, world, day_first = DATES[rng.choice(list(DATES))]
    unit = rng.choice(list(UNITS)) if world is US else "Litres"
    start = datetime(2025, rng.randint(5, 8), rng.randint(1, 20), 8)
    table: Table = [["Craft", "Filled", unit]]
    truth: list[Row] = []
    at = start
    for _ in range(rng.randint(3, 14)):
        at += timedelta(minutes=rng.randint(20, 3000))
        figure = round(rng.uniform(8, 18), 1)
        hull = rng.choice(world.hulls)
        table.append([hull, at.strftime(form), f"{figure}"])
        truth.append(fill(world, hull, f"{at:%Y-%m-%d %H:%M}", figure * UNITS[unit]))
    knows = {"source": "outside", "day_first": day_first, "gallon": "US gal"}
    name = rng.choice(list(MUTATIONS))
    case = MUTATIONS[name](rng, world, table, truth, knows)
    return name, case


def _case(world, table: Table, truth: list[Row], knows: dict, **options) -> FileCase:
    files = {"fuel log.csv": text(*(",".join(row) for row in table))}
    return FileCase("mutated", files, truth, world=world, knows=knows, **options)


def _sheet_added(rng, world, table, truth, knows) -> FileCase:
    cut = rng.randint(2, len(table) - 1)
    content = book(June=table[:cut], July=[table[0], *table[cut:]])
    files = {"fuel log.xlsx": content}
    return FileCase("mutated", files, truth, world=world, knows=knows)


def _sheet_gained(rng, world, table, truth, knows) -> FileCase:
    del rng
    half = len(table) // 2 + 1
    contract = [["hull_id", "filled_at", "volume_l", "source"]] + [
        [v["hull_id"], f"{v['filled_at']:%Y-%m-%dT%H:%M:%SZ}", f"{v['volume_l']}", "outside"]
        for _, v in truth
    ]
    other = [["Boat", "When", "L"], *contract[half:]]
    files = {"fills.xlsx": book(A=contract[:half], B=other)}
    return FileCase("mutated", files, truth, world=world, knows=knows, contract=True, told=True)


def _columns_swapped(rng, world, table, truth, knows) -> FileCase:
    a, b = rng.sample(range(3), 2)
    for row in table[1:]:
        row[a], row[b] = row[b], row[a]
    return _case(world, table, truth, knows)


def _columns_moved(rng, world, table, truth, knows) -> FileCase:
    order = rng.sample(range(3), 3)
    return _case(world, [[row[k] for k in order] for row in table], truth, knows)


def _units_mixed(rng, world, table, truth, knows) -> FileCase:
    table[0][2] = "Fuel"
    truth = list(truth)
    for n, row in enumerate(table[1:]):
        word, size = rng.choice([("gal", US_GAL), ("L", 1.0), ("ltr", 1.0)])
        kind, values = truth[n]
        truth[n] = (kind, values | {"volume_l": float(row[2]) * size})
        row[2] = f"{row[2]} {word}"
    return _case(world, table, truth, knows)


def _unit_column(rng, world, table, truth, knows) -> FileCase:
    table[0] = ["Craft", "Filled", "Quantity", "UOM"]
    truth = list(truth)
    for n, row in enumerate(table[1:]):
        word, size = rng.choice([("GAL", US_GAL), ("LTR", 1.0)])
        kind, values = truth[n]
        truth[n] = (kind, values | {"volume_l": float(row[2]) * size})
        row.append(word)
    return _case(world, table, truth, knows)


def _headings_moved(rng, world, table, truth, knows) -> FileCase:
    above = [["Fuel log", "", ""], ["", "", ""]][: rng.randint(1, 2)]
    return _case(world, [*above, *table], truth, knows)


def _headings_lost(rng, world, table, truth, knows) -> FileCase:
    del rng
    return _case(world, table[1:], truth, knows)


def _second_table(rng, world, table, truth, knows) -> FileCase:
    read = [["Craft", "Read", "Meter hours"]]
    more = list(truth)
    form = next(f for f, w, d in DATES.values() if w is world and d == knows["day_first"])
    for n in range(rng.randint(1, 4)):
        at = datetime(2025, 9, 14 + n, 18)
        read.append([world.hulls[0], at.strftime(form), f"{130 + n}.2"])
        more.append(meter(world, world.hulls[0], f"{at:%Y-%m-%d %H:%M}", 130.2 + n))
    gap = [["", "", ""]] if rng.random() < 0.5 else []
    return _case(world, [*table, *gap, *read], more, knows)


def _amount_beside(rng, world, table, truth, knows) -> FileCase:
    price = round(rng.uniform(1.1, 4.9), 2)
    figure = table[0][2]
    names = {"quantity": figure, "price": "Unit Price", "amount": "Amount"}
    order = rng.sample(list(names), 3)
    out = [["Craft", "Filled", *(names[name] for name in order)]]
    truth = [(k, v | {"price_per_l": price / UNITS[figure]}) for k, v in truth]
    for row in table[1:]:
        cells = {
            "quantity": row[2],
            "price": f"{price}",
            "amount": f"{float(row[2]) * price:.2f}",
        }
        out.append([*row[:2], *(cells[name] for name in order)])
    return _case(world, out, truth, knows)


def _order_mixed(rng, world, table, truth, knows) -> FileCase:
    turned = "%m/%d/%Y %H:%M" if knows["day_first"] else "%d/%m/%Y %H:%M"
    for (_, values), row in zip(truth, table[1:], strict=True):
        local = values["filled_at"].astimezone(__import__("zoneinfo").ZoneInfo(world.zone))
        if rng.random() < 0.4:
            row[1] = local.strftime(turned)
    return _case(world, table, truth, knows)


def _doubled(rng, world, table, truth, knows) -> FileCase:
    contract = [
        f"{v['hull_id']},{v['filled_at']:%Y-%m-%dT%H:%M:%SZ},{v['volume_l']},outside"
        for _, v in truth
    ]
    n = rng.randrange(len(truth))
    _, v = truth[n]
    later = v["filled_at"] + timedelta(minutes=rng.choice([0, 2, 10]))
    again = f"{v['hull_id']},{later:%Y-%m-%dT%H:%M:%SZ},{v['volume_l']},outside"
    head = "hull_id,filled_at,volume_l,source"
    files = {"fills 1.csv": text(head, *contract), "fills 2.csv": text(head, again)}
    return FileCase("mutated", files, truth, world=world, knows=knows, contract=True)


def _grades(rng, world, table, truth, knows) -> FileCase:
    words = {"93 AKI": {"octane_aki": 93.0}, "95 RON": {"octane_ron": 95.0}, "premium": {}}
    table[0].append("Grade")
    truth = list(truth)
    for n, row in enumerate(table[1:]):
        word = rng.choice(list(words))
        kind, values = truth[n]
        meant = words[word] or {"octane_aki": 91.0}
        truth[n] = (kind, values | meant)
        row.append(word)
    return _case(world, table, truth, knows | {"words": {"premium": "91 AKI"}})


def _cell_spoilt(rng, world, table, truth, knows) -> FileCase:
    row = rng.choice(table[1:])
    row[rng.randrange(3)] = rng.choice(["?", "n/a", "see paper", "0", ""])
    return _case(world, table, truth, knows)


MUTATIONS: dict[str, Callable[..., FileCase]] = {
    "sheet added": _sheet_added,
    "sheet gained by a contract's book": _sheet_gained,
    "columns swapped": _columns_swapped,
    "columns moved": _columns_moved,
    "units mixed": _units_mixed,
    "unit column": _unit_column,
    "headings moved": _headings_moved,
    "headings lost": _headings_lost,
    "second table": _second_table,
    "amount beside": _amount_beside,
    "order mixed": _order_mixed,
    "doubled": _doubled,
    "grades": _grades,
    "cell spoilt": _cell_spoilt,
}
