"""Photos made fit for a page and a PDF: checked, turned upright, made small.

What is shown is drawn anew from the picture's points, so that nothing else in the file
(place, time, owner, hidden text) goes out with a report.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

LONGEST_PX = 1200
"""A photo is made no larger than this: enough for half a page, small enough to mail."""

MOST_POINTS = 80_000_000
"""A picture that claims more points is not opened: it would fill the memory."""


@dataclass(frozen=True)
class ShownPhoto:
    """A photo as it goes out: JPEG, with its size."""

    jpeg: bytes
    width: int
    height: int

    @property
    def data_url(self) -> str:
        """The photo as an address that needs no file."""
        return f"data:image/jpeg;base64,{base64.b64encode(self.jpeg).decode()}"

    @property
    def svg(self) -> bytes:
        """The photo inside an SVG, which the PDF's typesetter takes as a text file."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width}" '
            f'height="{self.height}"><image width="{self.width}" height="{self.height}" '
            f'href="{self.data_url}"/></svg>'
        ).encode()


def shown_photo(content: bytes) -> ShownPhoto | None:
    """The photo fit to be shown; None if the bytes are no JPEG or PNG picture."""
    try:
        with Image.open(io.BytesIO(content), formats=("JPEG", "PNG")) as image:
            if image.width * image.height > MOST_POINTS:
                return None
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError):
        return None  # Pillow tells a damaged file in all of these ways
    upright.thumbnail((LONGEST_PX, LONGEST_PX))
    out = io.BytesIO()
    upright.save(out, format="JPEG", quality=82)
    return ShownPhoto(out.getvalue(), upright.width, upright.height)
