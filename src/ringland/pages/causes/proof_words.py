"""What a proof bundle's read-me says."""

from __future__ import annotations

ANOTHER_ENGINE = "[another engine]"
NOT_GIVEN = "not given"
NO_PICTURE = "not a readable picture"
NO_CAPTURE_TIME = "none written by the camera"
READ_ME = """{title}
As known {as_of}.

What this is: the report as a PDF that says of itself that it is PDF/A-2b (ISO 19005-2; this
program's tests hold such reports to an independent validator, which was not run on this one),
the rows of the record it rests on with the file and row they were read from and that file's
SHA-256, what was put right in them since (records/corrections.csv, if anything was), the photos
as they were given with their hashes and the camera's own time, the fuel of its last tanks with
what the docks' tanks were filled with, the limits and the table of causes used.  Where the
record names another engine, the name is blacked out.

To verify that nothing was changed since it was written, in this folder:

  Linux:    sha256sum -c {manifest}
  macOS:    shasum -a 256 -c {manifest}
  Windows:  Get-FileHash -Algorithm SHA256 FILE   (compare with the line of FILE in {manifest})

The SHA-256 of {manifest} itself stands in no file of this folder.  Whoever made the bundle
writes it on the signed paper; with it, the whole folder is tied to the signature.

Files:
"""
PHOTOS_MISSING = "Photos named in the record and not given: {names}."
SHORT_SERIALS = (
    "Serials of other engines that are four digits or fewer are not blacked out: they could not be "
    "told from figures. Read the rows before you hand this over."
)
DEMO = "Invented demo data: no engine, hull or person in it exists."
