"""What several commands share: options, the home's week, and words in place of tracebacks."""

from collections.abc import Callable
from typing import TypeVar

import click

T = TypeVar("T")
RESTATED = click.option(
    "--restated", is_flag=True, help="The week as it was last restated, not as it was known."
)
AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Look back from this day's Monday 00:00 on the home's clock. Default: this week's Monday.",
)


def in_words(do: Callable[[], T]) -> T:
    """What `do` gives; a refusal ends the command with its words, without a traceback."""
    from pipelines.duckdb_warehouse import WarehouseError  # noqa: PLC0415 - imports Dagster
    from pipelines.home_file import HomeFileError  # noqa: PLC0415
    from pipelines.weekly.store import StoreError  # noqa: PLC0415 - imports Polars
    from ringland.intake.column_mapping import MappingError  # noqa: PLC0415
    from ringland.intake.raw_file import RecordFileError  # noqa: PLC0415
    from ringland.settings.assumptions import AssumptionError  # noqa: PLC0415
    from ringland.settings.manner_file import PageSettingError  # noqa: PLC0415

    try:
        return do()
    except (
        WarehouseError,
        MappingError,
        RecordFileError,
        PageSettingError,
        AssumptionError,
        HomeFileError,
        StoreError,
        OSError,
    ) as error:
        raise click.ClickException(str(error)) from error
