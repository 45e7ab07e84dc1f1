"""One operator's folder of a network, read alone: by who has the key to it and to nothing else."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from typing import Any

import fsspec
import polars as pl
from blake3 import blake3

from pipelines.network.store import NetworkStore, Written, files_in, newest_by
from pipelines.weekly.store import StoreError

_LIST = "week-{monday}.json"
_PARTS = ("records", "lasting", "turning")


def keep_own_list(store: NetworkStore, operator: str, monday: str, told: Mapping[str, Any]) -> None:
    """Put an operator's part of a week's list into its folder, files named as they lie there.

    Args:
        store: the network.
        operator: whose it is.
        monday: of the week.
        told: what the network's list of the week says of the operator.
    """
    parts = (told["records"], told["lasting"]["tables"], told["turning"])
    names = {
        part: {
            table: [file.name.rpartition("/")[2], file.rows, file.digest]
            for table, file in files_in(files).items()
        }
        for part, files in zip(_PARTS, parts, strict=True)
    }
    store.keep_own(operator, monday, names)


def own_tables(address: str, monday: str) -> tuple[str, dict[str, pl.DataFrame]]:
    """The newest week in an operator's folder no later than a Monday, and its tables by name.

    Args:
        address: of the folder `operators/NAME` of a network, or of a copy of it.
        monday: up to which week.

    Raises:
        StoreError: no week lies there, or a file is lost or was changed.
    """
    fs, root = fsspec.core.url_to_fs(address)
    begin, end = _LIST.split("{monday}")
    lists = [path.rpartition("/")[2] for path in fs.glob(f"{root}/{_LIST.format(monday='*')}")]
    newest = newest_by([name.removeprefix(begin).removesuffix(end) for name in lists], monday)
    if newest is None:
        raise StoreError(
            f"No week by {monday} lies in {address}. Name one operator's folder of a network whose "
            f"week was worked out (ringland network week)."
        )
    told = json.loads(fs.cat_file(f"{root}/{_LIST.format(monday=newest)}"))
    tables = {}
    for part in _PARTS:
        for name, file in files_in(told[part]).items():
            called = f"records.{name}" if part == "records" else name
            tables[called] = _table(fs, root, file)
    return newest, tables


def _table(fs: Any, root: str, file: Written) -> pl.DataFrame:
    path = f"{root}/{file.name}"
    content = fs.cat_file(path) if fs.exists(path) else b""
    if blake3(content).hexdigest() != file.digest:
        raise StoreError(
            f"{file.name} in {root} is lost or was changed. Work the week out again (ringland "
            f"network week)."
        )
    return pl.read_parquet(io.BytesIO(content))
