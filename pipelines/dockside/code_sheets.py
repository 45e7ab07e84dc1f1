"""Sheets of hull codes, written into the home's papers."""

import difflib
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import click

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.whole_files import write_whole
from ringland.dockside.ground import Ground
from ringland.dockside.hull_codes import hull_codes_pdf, origin_of


def write_codes(home: Home, hulls: Sequence[str], address: str, now: datetime) -> Path:
    """Write the codes of some hulls, or of all in service, and say where.

    Raises:
        ClickException: the address is none, no hull is in service, or one named is not on record.
    """
    try:
        origin = origin_of(address)
    except ValueError as error:
        raise click.ClickException(str(error)) from error
    records = warehouse_at(home.database).read_records()
    on_record = Ground(records, home.facts().operator).corrected["hulls"].sort("hull_id")
    docks = dict(on_record.select("hull_id", "dock_id").iter_rows())
    if unknown := [hull for hull in hulls if hull not in docks]:
        near = difflib.get_close_matches(unknown[0], docks, n=3, cutoff=0)
        raise click.ClickException(
            f"No hull '{unknown[0]}' is on record. Did you mean {' or '.join(near)}?"
            if near
            else "No hull is on record yet. Run 'ringland load FOLDER' first."
        )
    left = on_record.select("hull_id", "out_of_service_at").iter_rows()
    chosen = hulls or [hull for hull, out in left if out is None or out > now]
    if not chosen:
        raise click.ClickException("No hull is in service. Run 'ringland load FOLDER' first.")
    paper = home.manner().paper
    home.papers.mkdir(parents=True, exist_ok=True)
    path = home.papers / "hull-codes.pdf"
    shown = [(one, docks[one]) for one in chosen]
    write_whole(path, hull_codes_pdf(shown, origin, paper, now.replace(microsecond=0)))
    return path
