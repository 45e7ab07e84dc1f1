"""The rules every file keeps: lint, format, types, imports, pins without hosts, module sizes."""

import ast
import re
import subprocess
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
CODE = [*(ROOT / "src").rglob("*.py"), *(ROOT / "pipelines").rglob("*.py"),
        *(ROOT / "synthetic_data").rglob("*.py")]  # fmt: skip


PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def tracked_files() -> list[Path]:
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
    ).stdout
    return [ROOT / name for name in listing.split("\0") if name and (ROOT / name).is_file()]


@pytest.mark.parametrize(
    "command",
    [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"], ["lint-imports"]],
    ids=["lint", "format", "types", "imports"],
)
def test_tool_finds_no_fault(command: list[str]) -> None:
    tool, *arguments = command
    run = subprocess.run(
        [BIN / tool, *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr


def pins(name: str) -> list[str]:
    lock = (ROOT / ".pins" / name).read_text()
    return re.findall(r"^([A-Za-z0-9_.\-]+==[^\\\n]+?)\s*\\?$", lock, re.MULTILINE)


def test_all_pin_lists_hold_the_same_versions() -> None:
    tested = [pin.strip() for pin in pins("test.txt")]
    run_on = [pin.strip() for pin in pins("run.txt")]

    assert len(run_on) > 50
    assert tested == PYPROJECT["tool"]["uv"]["constraint-dependencies"]
    assert {pin.split(" ;")[0] for pin in run_on} < {pin.split(" ;")[0] for pin in tested}


def test_all_that_ringland_runs_on_is_permissively_licensed() -> None:
    run = subprocess.run(
        [sys.executable, ROOT / ".ci" / "licences"], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert len(run.stdout.splitlines()) > 50


WITHOUT_IMPORT = {
    "tzdata": "read by zoneinfo",
}
"""Dependencies no line imports, with what needs them."""
IMPORTED_AS = {"argon2-cffi": "argon2", "pillow": "PIL", "scikit-learn": "sklearn"}


@pytest.mark.parametrize(
    "wanted", [re.split(r"[<>=]", line)[0] for line in PYPROJECT["project"]["dependencies"]]
)
def test_every_dependency_is_needed_by_a_module(wanted: str) -> None:
    name = IMPORTED_AS.get(wanted, wanted.replace("-", "_"))
    line = re.compile(rf"^\s*(?:import|from) {name}\b", re.MULTILINE)
    modules = [path for path in CODE if line.search(path.read_text(encoding="utf-8"))]
    assert modules or wanted in WITHOUT_IMPORT


MOST_MB = 1_100
"""What an install may take at most, by the packages' own lists of files."""


def test_every_large_package_of_an_install_has_its_reason_in_developers_md() -> None:
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    reasons = told.partition("## What an install takes")[2].partition("\n## ")[0]
    sizes = {name: installed_mb(name) for pin in pins("run.txt") if (name := pin.split("==")[0])}

    assert 500 < sum(sizes.values()) <= MOST_MB  # it did look
    for name, megabytes in sizes.items():
        assert megabytes <= 20 or f"`{name}`" in reasons, f"{name}: {megabytes:.0f} MB"


def installed_mb(package: str) -> float:
    """By the package's own list of its files; 0 where this machine does not need it."""
    try:
        listed = metadata.files(package) or []
    except metadata.PackageNotFoundError:
        return 0.0
    return sum(file.size or 0 for file in listed) / 1e6


def test_every_text_file_is_read_and_written_in_a_named_encoding() -> None:
    """Windows reads and writes its own code page where none is named."""
    nameless = [
        f"{path}:{node.lineno}"
        for path in CODE
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and is_text_call(node)
        and "encoding" not in {keyword.arg for keyword in node.keywords}
        and "utf-8" not in {arg.value for arg in node.args if isinstance(arg, ast.Constant)}
    ]  # fmt: skip
    assert nameless == []


def is_text_call(call: ast.Call) -> bool:
    """Whether it reads or writes text: not bytes, and not a file within a ZIP."""
    function = ast.unparse(call.func)
    if function.rpartition(".")[2] in ("read_text", "write_text"):
        return True
    if function.startswith(("os.", "webbrowser.", "Image.")) or not function.endswith("open"):
        return False
    is_bare = isinstance(call.func, ast.Name)
    if call.args and not is_bare and not isinstance(call.args[0], ast.Constant):
        return False  # of a ZIP: the file's name comes first
    modes = [arg.value for arg in call.args if isinstance(arg, ast.Constant)]
    return function.rpartition(".")[2] == "open" and not any("b" in str(mode) for mode in modes)


POSIX_ONLY = {
    "os.fork", "os.kill", "os.killpg", "os.setsid", "os.getuid", "os.geteuid", "os.getpgid",
    "os.mkfifo", "os.uname", "os.sync", "os.rename", "os.symlink", "os.statvfs", "os.chown",
    "os.wait", "os.waitpid", "os.nice", "os.pread", "os.pwrite", "os.getloadavg", "os.setpgrp",
    "os.sched_getaffinity", "os.O_NOFOLLOW", "os.O_DIRECTORY", "os.fchmod", "os.lchown",
    "time.tzset", "socket.AF_UNIX", "signal.SIGKILL", "signal.SIGHUP",
    "signal.SIGUSR1", "signal.alarm", "signal.pause",
}  # fmt: skip
POSIX_MODULES = {"fcntl", "pwd", "grp", "resource", "termios", "tty", "pty", "syslog"}


def test_nothing_that_ships_calls_what_windows_lacks() -> None:
    for path in CODE:
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        named = [one.name for node in nodes if isinstance(node, ast.Import) for one in node.names]
        named += [node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)]
        used = {ast.unparse(node) for node in nodes if isinstance(node, ast.Attribute)}

        assert not set(named) & POSIX_MODULES, path
        assert not used & POSIX_ONLY, path
        is_d3s = path.name == "manner.py"  # the hover of a chart knows %-d everywhere
        assert is_d3s or not re.search(r"%-[A-Za-z]", path.read_text(encoding="utf-8")), path


WRITTEN_AS_THEY_COME = {
    "whole_files.py": "the house's writer itself",
    "taking_in.py": "into a folder that goes again",
}
"""Where a file may be written in its place, and why a cut halfway does no harm."""


def test_files_and_folders_are_put_in_place_whole() -> None:
    """A paper was written in its place; and Windows renames over nothing that is in use."""
    found = [
        f"{path.name}:{node.lineno}: {ast.unparse(node)[:60]}"
        for path in (ROOT / "pipelines").rglob("*.py")
        if path.name not in WRITTEN_AS_THEY_COME
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and puts_in_place(node)
    ]
    assert found == []


def puts_in_place(call: ast.Call) -> bool:
    """Whether it writes a file in its place, or renames one without the house's patience."""
    name = ast.unparse(call.func).rpartition(".")[2]
    if name in ("write_bytes", "write_text"):
        return True
    if name in ("write_csv", "write_excel"):
        return bool(call.args)
    # of a frame `rename` takes a dict; of a text `replace` takes two, of a time it takes keywords
    is_one = len(call.args) == 1 and not isinstance(call.args[0], ast.Dict | ast.Lambda)
    return name in ("rename", "replace") and is_one and not call.keywords


def test_commands_print_through_what_makes_control_characters_harmless() -> None:
    free = [path for path in CODE if "click.echo(" in path.read_text(encoding="utf-8")]
    assert [path.name for path in free] == ["command_parts.py"]


def test_no_lock_or_settings_file_holds_an_address() -> None:
    for path in tracked_files():
        if path.suffix in {".txt", ".toml", ".lock", ".json", ".cfg"} or ".ci" in path.parts:
            text = path.read_text(encoding="utf-8", errors="replace")
            assert not re.search(r"https?://", text), path


def test_no_file_holds_a_path_of_one_machine() -> None:
    machine_path = re.compile(r"(?:^|[^A-Za-z0-9_.])/" + r"(?:work|root|farm|home/\w+)/")
    for path in tracked_files():
        if path.suffix not in {".png", ".jpg", ".parquet", ".xlsx", ".pdf"}:
            match = machine_path.search(path.read_text(encoding="utf-8", errors="replace"))
            assert match is None, f"{path}: {match.group(0) if match else ''}"


def test_no_module_is_longer_than_one_idea() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in CODE
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 350
    }
    assert long == {}


def imported_by(path: Path) -> set[str]:
    """Every module, and every name of one, that a file imports from the library."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    froms = [node for node in nodes if (node.module or "").startswith("ringland")]
    whole = {node.module or "" for node in froms}
    return whole | {f"{node.module}.{alias.name}" for node in froms for alias in node.names}


def test_every_module_of_the_library_is_reached_by_the_shell_or_by_a_study() -> None:
    src = ROOT / "src"
    modules = {".".join(p.relative_to(src).with_suffix("").parts): p for p in src.rglob("*.py")}
    users = [*(ROOT / "pipelines").rglob("*.py"), *(ROOT / "tests" / "studies").rglob("*.py")]
    found = {name for user in users for name in imported_by(user)} & modules.keys()
    reached: set[str] = set()
    while found:
        reached |= found
        found = {n for one in found for n in imported_by(modules[one])} & modules.keys() - reached

    unreached = {name for name in modules.keys() - reached if not name.endswith("__init__")}
    assert unreached == set(FOR_THE_TESTS)


FOR_THE_TESTS = {
    "ringland.survival.cox.cox_frailty": "second opinion on the engines' spread: litters, R",
    "ringland.survival.forecasts.forecast_ranking": "ranks what tests forecast",
    "ringland.survival.lives.discounted_replacement": "worked values",
    "ringland.survival.lives.life_comparison": "log-rank against published remission times",
    "ringland.survival.lives.residual_life": "R",
    "ringland.survival.repairs.power_law_trend": "handbook's and institute's worked examples",
    "ringland.survival.repairs.recurrent_repairs": "published valve seats, R",
}
"""Modules that no page shows yet, and what outside they are held against: a reliability
engineer asks for them, and each stays right while it waits for its page."""


def test_what_is_added_up_by_groups_is_added_in_the_order_of_its_rows() -> None:
    """A week made twice differed in the last digit: Polars adds up the groups of a frame in
    parts, and in any order of these, unless told to keep the rows' own."""
    free = [
        f"{path.relative_to(ROOT)}:{call.lineno}"
        for path in CODE
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Attribute)
        and call.func.attr == "group_by"
        and not any(named.arg == "maintain_order" for named in call.keywords)
    ]
    assert free == []


def test_readme_opens_with_the_job() -> None:
    opening = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")[1]
    for word in ("ring land", "fuel", "week", "records"):
        assert word in opening


def test_ci_calls_exactly_the_readmes_test_command() -> None:
    commands = re.findall(r"^```\n(.+)\n```$", (ROOT / "README.md").read_text(), re.MULTILINE)
    (test_command,) = [command for command in commands if command.endswith("pytest")]

    assert (ROOT / ".ci" / "run").read_text().splitlines()[-1] == test_command
