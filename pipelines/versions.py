"""What made a report: the program's version and the records it saw."""

import hashlib
from collections.abc import Mapping
from importlib.metadata import version

import polars as pl


def report_versions(records: Mapping[str, pl.DataFrame]) -> dict[str, str]:
    """Names and versions to print, e.g. {'ringland': '0.1.0', 'records': '3f0c...'}."""
    return {"ringland": version("ringland"), "records": records_digest(records)}


def records_digest(records: Mapping[str, pl.DataFrame]) -> str:
    """The start of a SHA-256 over all records a report was made from."""
    digest = hashlib.sha256()
    for kind, rows in sorted(records.items()):
        digest.update(f"{kind}\n{rows.write_csv()}".encode())
    return digest.hexdigest()[:16]
