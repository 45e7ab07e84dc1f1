"""The files that pages are made from, each lying in the folder of its page.

Templates extend and import each other by their bare names, whatever page's folder they lie in;
so a name stands once in the whole of `pages`.
"""

from importlib.resources import files
from importlib.resources.abc import Traversable

from jinja2 import ChoiceLoader, PackageLoader

PAGES = "ringland.pages"


def template_loader() -> ChoiceLoader:
    """What finds a template by its name, e.g. 'hull.html.j2', in whichever page's folder."""
    return ChoiceLoader([PackageLoader(PAGES, folder.name) for folder in _folders()])


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
