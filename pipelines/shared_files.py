"""What every week's pages need and no week's folder holds: it lies once in a home."""

from pathlib import Path

from plotly.offline import get_plotlyjs_version

from pipelines.home import SHARED
from pipelines.whole_files import write_whole
from ringland.pages.site.page_groups import drawing_library

LIBRARY = f"{SHARED}/plotly-{get_plotlyjs_version()}.min.js"
"""The drawing library, seen from the folder that holds the weeks' folders."""


def put_shared(site: Path) -> Path:
    """Put the drawing library beside the weeks' folders, if it is not there."""
    path = site / LIBRARY
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, drawing_library())
    return path
