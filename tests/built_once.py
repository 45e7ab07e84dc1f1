"""What many tests read and none changes, made once for the whole run."""

from collections.abc import Callable
from pathlib import Path

from filelock import FileLock

BuiltOnce = Callable[[str, Callable[[Path], None]], Path]
"""Called with a name and with what fills the empty folder of that name; gives the full one."""


def build_once(shared: Path, name: str, fill: Callable[[Path], None]) -> Path:
    """The folder `name` in `shared`: filled by whichever process asks first, while others wait."""
    made, whole = shared / name, shared / f"{name}.whole"
    with FileLock(shared / f"{name}.lock"):
        if not whole.exists():
            made.mkdir()
            fill(made)
            whole.touch()
    return made


def write_site(folder: Path, site: dict[str, bytes]) -> None:
    """A site's files on disk, as its operator gets it."""
    for path, content in site.items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)
