"""Do the tests notice a wrong line?  One-line mutations at random over the numeric core.

    python -m tests.studies.mutations OUT.jsonl [--seed 1] [--number 100]
    python -m tests.studies.mutations OUT.jsonl --table

Each mutation changes one operator, comparison, number or truth value of one line, in a copy of
`src`; the test files that import that module run against the copy until the first failure,
those of its own room before all others.
A line of OUT says what was changed and whether a test failed; lines already there are kept.
The general tools were looked at and left: mutmut and cosmic-ray want the tests run from a
tree of their own and cannot be told to draw a sample by a seed.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from resource import RLIMIT_CPU, setrlimit
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
CORE = ("history", "bench", "fuel", "exposure", "survival", "risk", "decision", "score")
"""The rooms whose numbers a plan rests on."""
ELSEWHERE = ("browser", "pipelines", "benchmarks", "studies")
LONGEST_S = 600
"""A run that takes so much of a processor was sent round in circles by the mutation: noticed."""

SWAPS: dict[type[ast.AST], str] = {
    ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "==",
    ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.And: "or", ast.Or: "and",
    ast.BitAnd: "|", ast.BitOr: "&",
}  # fmt: skip
SIGNS: dict[type[ast.AST], str] = {
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=",
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.And: "and", ast.Or: "or",
    ast.BitAnd: "&", ast.BitOr: "|",
}  # fmt: skip


class Mutation(NamedTuple):
    """One changed line of a module, by its path from the root and its number from 1."""

    module: str
    line: int
    before: str
    after: str


def mutations_of(path: Path) -> list[Mutation]:
    """Every mutation of a module, in the order of its lines."""
    text = path.read_text(encoding="utf-8")
    lines = text.splitlines()
    found = {
        Mutation(path.relative_to(ROOT).as_posix(), line, lines[line - 1], after)
        for node in _outside_annotations(ast.parse(text))
        for line, after in _changes(node, lines)
        if after != lines[line - 1]
    }
    return sorted(found)


def _outside_annotations(tree: ast.AST) -> Iterator[ast.AST]:
    """All nodes but those of annotations, where `|` is no operator."""
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns"):
            continue
        for node in value if isinstance(value, list) else [value]:
            if isinstance(node, ast.AST):
                yield node
                yield from _outside_annotations(node)


def _changes(node: ast.AST, lines: list[str]) -> Iterator[tuple[int, str]]:
    if isinstance(node, ast.Compare):
        pairs = zip(node.ops, [node.left, *node.comparators[:-1]], node.comparators, strict=True)
        for sign, left, right in pairs:
            yield from _swapped(sign, left, right, lines)
    elif isinstance(node, ast.BinOp):
        yield from _swapped(node.op, node.left, node.right, lines)
    elif isinstance(node, ast.BoolOp):
        for left, right in zip(node.values[:-1], node.values[1:], strict=True):
            yield from _swapped(node.op, left, right, lines)
    elif isinstance(node, ast.Constant) and type(node.value) in (bool, int, float):
        other = repr(not node.value if isinstance(node.value, bool) else node.value + 1)
        line = lines[node.lineno - 1]
        if line.isascii() and node.end_lineno == node.lineno:
            yield node.lineno, line[: node.col_offset] + other + line[node.end_col_offset :]


def _swapped(
    sign: ast.AST, left: ast.expr, right: ast.expr, lines: list[str]
) -> Iterator[tuple[int, str]]:
    """The sign between two operands of one line, as the other one."""
    if type(sign) not in SWAPS or left.end_lineno != right.lineno or left.end_col_offset is None:
        return
    line = lines[right.lineno - 1]
    start, end = left.end_col_offset, right.col_offset
    between = line[start:end]
    if line.isascii() and between.count(SIGNS[type(sign)]) == 1:
        other = between.replace(SIGNS[type(sign)], SWAPS[type(sign)])
        yield right.lineno, line[:start] + other + line[end:]


def files_facing(module: str) -> list[str]:
    """The test files that import the module; where none does, those of what imports it, and on."""
    reached, floor = {module}, {module}
    while floor:
        found = {test for one in floor for test in _importing(one, _test_files())}
        if found:
            return sorted(found)
        above = {m for one in floor for m in _importing(one, (ROOT / "src").rglob("*.py"))}
        floor = above - reached
        reached |= floor
    return []


def in_turn(module: str, tests: list[str]) -> list[list[str]]:
    """The files of the module's own room, which notice most and are quick, then all others."""
    room = "tests/" + module.removeprefix("src/ringland/").split("/")[0] + "/"
    own = [test for test in tests if test.startswith(room)]
    return [turn for turn in (own, [test for test in tests if test not in own]) if turn]


def _test_files() -> Iterator[Path]:
    for path in (ROOT / "tests").rglob("test_*.py"):
        if not any(word in path.as_posix() for word in ELSEWHERE):
            yield path


def _importing(module: str, files: Iterable[Path]) -> list[str]:
    name = module.removeprefix("src/").removesuffix(".py").replace("/", ".")
    return sorted(
        path.relative_to(ROOT).as_posix()
        for path in files
        if f"from {name} import" in path.read_text(encoding="utf-8")
    )


class Copy:
    """A copy of `src` that one line at a time is changed in; what is compiled of it is kept."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.src = Path(shutil.copytree(ROOT / "src", folder / "src"))

    def is_noticed(self, mutation: Mutation, tests: list[str]) -> bool:
        """Whether a test fails with that line changed."""
        module = self.folder / mutation.module
        text = module.read_text(encoding="utf-8")
        lines = text.splitlines(keepends=True)
        lines[mutation.line - 1] = mutation.after + "\n"
        module.write_text("".join(lines), encoding="utf-8")
        try:
            # Numba does not see that a function compiled from another file has changed.
            compiled = self.folder / ("compiled" if "njit" not in text else f"for {module.stem}")
            return _fails(tests, {"PYTHONPATH": str(self.src), "NUMBA_CACHE_DIR": str(compiled)})
        finally:
            module.write_text(text, encoding="utf-8")
            if "njit" in text:
                shutil.rmtree(compiled, ignore_errors=True)


def _fails(tests: list[str], environment: dict[str, str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider"]
    run = subprocess.run(
        [*command, *tests],
        cwd=ROOT,
        env=os.environ | environment,
        capture_output=True,
        check=False,
        preexec_fn=lambda: setrlimit(RLIMIT_CPU, (LONGEST_S, LONGEST_S)),
    )
    if run.returncode in (0, 1, 2) or run.returncode < 0:  # passed, failed, no import, no end
        return run.returncode != 0
    raise RuntimeError(run.stdout.decode() + run.stderr.decode())


def drawn(seed: int, number: int) -> list[Mutation]:
    """So many mutations of the core, every one as likely; the same for the same code and seed."""
    modules = [path for room in CORE for path in (ROOT / "src/ringland" / room).rglob("*.py")]
    all_of_them = [one for path in sorted(modules) for one in mutations_of(path)]
    return random.Random(seed).sample(all_of_them, number)  # noqa: S311 - a sample, no secret


def as_table(lines: list[dict[str, object]]) -> str:
    """How many were noticed, and those that were not."""
    noticed = sum(bool(line["noticed"]) for line in lines)
    rows = [f"{noticed} of {len(lines)} noticed.  Not noticed:", ""]
    for line in lines:
        if not line["noticed"]:
            where = f"{line['module']}:{line['line']}"
            rows += [f"- `{where}`", f"  `{line['before']}`", f"  `{line['after']}`"]
    return "\n".join(rows) + "\n"


def main() -> None:
    """Draw, run, write down."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("out", type=Path)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--number", type=int, default=100)
    asked.add_argument("--table", action="store_true")
    told = asked.parse_args()
    there = [json.loads(line) for line in told.out.open()] if told.out.exists() else []
    if told.table:
        sys.stdout.write(as_table(there))
        return
    done = {(line["module"], line["line"], line["after"]) for line in there}
    with tempfile.TemporaryDirectory() as folder:
        copy = Copy(Path(folder))
        for mutation in drawn(told.seed, told.number):
            if (mutation.module, mutation.line, mutation.after.strip()) in done:
                continue
            tests = files_facing(mutation.module)
            turns = in_turn(mutation.module, tests)
            line = mutation._asdict() | {
                "before": mutation.before.strip(),
                "after": mutation.after.strip(),
                "noticed": any(copy.is_noticed(mutation, turn) for turn in turns),
                "tests": len(tests),
            }
            with told.out.open("a", encoding="utf-8") as out:
                out.write(json.dumps(line) + "\n")


if __name__ == "__main__":
    main()
