"""The files that pages are made from, each lying in the folder of its page.

Templates extend and import each other by their bare names, whatever page's folder they lie in;
so a name stands once in the whole of `pages`.
"""

from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import CodeType

from jinja2 import BytecodeCache, ChoiceLoader, PackageLoader
from jinja2.bccache import Bucket

PAGES = "ringland.pages"


def template_loader() -> ChoiceLoader:
    """What finds a template by its name, e.g. 'hull.html.j2', in whichever page's folder."""
    return ChoiceLoader([PackageLoader(PAGES, folder.name) for folder in _folders()])


class _Compiled(BytecodeCache):
    """Templates compiled once a process, whichever of its environments asks."""

    def __init__(self) -> None:
        self._codes: dict[tuple[str, str], CodeType] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._codes.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        if bucket.code is not None:
            self._codes[bucket.key, bucket.checksum] = bucket.code


@lru_cache(maxsize=16)
def compiled(*_alike: object) -> BytecodeCache:
    """One keeper of compiled templates for all environments that are alike in what is given.

    Jinja2 works filters of constants out when it compiles: what they depend on is to be given.
    """
    return _Compiled()


def page_file(name: str) -> bytes:
    """The bytes of a file of any page, e.g. 'ringland.css'.

    Raises:
        FileNotFoundError: no page has such a file.
    """
    for folder in _folders():
        if (found := folder.joinpath(name)).is_file():
            return found.read_bytes()
    raise FileNotFoundError(name)


def _folders() -> list[Traversable]:
    found = (item for item in files(PAGES).iterdir() if item.is_dir() and item.name[0] != "_")
    return sorted(found, key=lambda folder: folder.name)
