"""Files as one zip whose bytes repeat.

Entries are sorted and carry a fixed time, the earliest a zip can state.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)


def zipped(files: Mapping[str, bytes], *, is_packed: bool = True) -> bytes:
    """The files as a zip, in order of path; not packed: for who packs it as a whole."""
    method = zipfile.ZIP_DEFLATED if is_packed else zipfile.ZIP_STORED
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for path, content in sorted(files.items()):
            entry = zipfile.ZipInfo(path, ZIP_EPOCH)
            entry.compress_type = method
            entry.create_system = 3  # the same on every machine
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return out.getvalue()
