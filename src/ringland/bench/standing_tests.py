"""Failed tests that still stand: no time answers one, only a better test or a person's name.

A test is what was read of one engine by one measure at one instant.  It is complete where
every place of the measure was read: every cylinder the engine has, both ports of each where
ports are read.  A failed reading stands until a later complete test of the same measure
passed throughout, a rebuild or new piston set making no difference: what was fitted is not
known to be good before it is measured.  Signs of the running engine (oil metals, crankcase
pressure, oil in the hull) are also answered by a build since and a complete leak-down passed
after it.  Half a retest, a reading that cannot be or be judged, and 'ok' answer nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import polars as pl

from ringland.contracts.record_columns import ALL_OPEN
from ringland.contracts.record_tables import StandingFailures

SIGNS = ("oil_iron", "oil_aluminium", "oil_silicon", "crankcase_pressure", "hull_oil")
_OF_MEASURE = ["engine_id", "measure"]
_TEST = [*_OF_MEASURE, "inspected_at"]


def complete_passes(bench: pl.DataFrame, engines: pl.DataFrame) -> pl.DataFrame:
    """The complete tests that passed throughout: engine_id, measure, inspected_at.

    Args:
        bench: `BenchVerdicts`.
        engines: rows of the Engines contract; where cylinders are not on record, those that
            were ever read are all.
    """
    has = {name: pl.col(name).is_not_null() for name in ("cylinder", "port")}
    rows = bench.join(engines.select("engine_id", "cylinders"), on="engine_id", how="left")
    rows = rows.with_columns(
        _by_cylinder=has["cylinder"].any().over(_OF_MEASURE),
        _by_port=has["port"].any().over(_OF_MEASURE),
        _cylinders=pl.coalesce(
            "cylinders", pl.col("cylinder").drop_nulls().n_unique().over(_OF_MEASURE)
        ),
    )
    is_place = (
        (~pl.col("_by_cylinder") | has["cylinder"])
        & (~pl.col("_by_port") | has["port"])
        & (pl.col("cylinders").is_null() | (pl.col("cylinder") <= pl.col("cylinders"))).fill_null(
            value=True
        )
    )
    wanted = pl.when("_by_cylinder").then("_cylinders").otherwise(1) * pl.when("_by_port").then(
        2
    ).otherwise(1)
    passed = is_place & (pl.col("verdict") == "pass")
    return (
        rows.group_by(_TEST, maintain_order=True)
        .agg(
            _passed=pl.struct("cylinder", "port").filter(passed).n_unique(),
            _wanted=wanted.first(),
            _is_bad=pl.col("verdict").is_in(["fail", "lap and retest"]).any(),
        )
        .filter((pl.col("_passed") >= pl.col("_wanted")) & ~pl.col("_is_bad"))
        .select(_TEST)
        .sort(_TEST)
    )


def standing_failures(
    bench: pl.DataFrame, records: Mapping[str, pl.DataFrame], as_of: datetime
) -> pl.DataFrame:
    """`StandingFailures`: what stands against each engine, and who released it if anybody did.

    A failed acceptance reading let go with a reason and a signature counts as released by
    its signer.

    Args:
        bench: `BenchVerdicts` as known at `as_of`.
        records: engines, piston_sets, rebuilds, installations and releases, as known then.
        as_of: the instant spoken of: a release that has run out by then releases nothing.
    """
    passes = complete_passes(bench, records["engines"])
    let_go = pl.col("accepted_because").is_not_null() & pl.col("signed_by").is_not_null()
    failed = (
        bench.filter(pl.col("verdict") == "fail")
        .with_columns(_let_go=let_go, _newest=pl.col("inspected_at").max().over(_OF_MEASURE))
        .filter(pl.col("inspected_at") == pl.col("_newest"))
        .sort(*_OF_MEASURE, "_let_go", "cylinder", "port")
        .group_by(_OF_MEASURE, maintain_order=True)
        .first()
        .select(
            *_OF_MEASURE,
            "cylinder",
            "port",
            "reason",
            failed_at="inspected_at",
            _signed_by=pl.when("_let_go").then("signed_by"),
            _accepted=pl.when("_let_go").then("accepted_because"),
        )
    )
    last_pass = passes.group_by(_OF_MEASURE, maintain_order=True).agg(
        _passed_at=pl.col("inspected_at").max()
    )
    last_test = bench.group_by(_OF_MEASURE, maintain_order=True).agg(
        _tested_at=pl.col("inspected_at").max()
    )
    standing = (
        failed.join(last_pass, on=_OF_MEASURE, how="left")
        .filter(pl.col("_passed_at").is_null() | (pl.col("_passed_at") < pl.col("failed_at")))
        .join(last_test, on=_OF_MEASURE, how="left")
        .join(_built_and_passed(passes, records), on="engine_id", how="left")
        .filter(
            ~(pl.col("measure").is_in(list(SIGNS)) & (pl.col("_built_at") > pl.col("failed_at")))
            .fill_null(value=False)
        )
    )  # fmt: skip
    return StandingFailures.validate(
        with_releases(standing, records, as_of, since="failed_at", what=pl.col("measure"))
        .with_columns(
            retested_at=pl.when(pl.col("_tested_at") > pl.col("failed_at")).then("_tested_at"),
            released_by=pl.coalesce("released_by", "_signed_by"),
            released_at=pl.coalesce(
                "released_at", pl.when(pl.col("_signed_by").is_not_null()).then("failed_at")
            ),
            released_because=pl.coalesce("released_because", "_accepted"),
        )
        .select(StandingFailures.column_names())
        .sort(_OF_MEASURE),
        cast=True,
    )


def _built_and_passed(passes: pl.DataFrame, records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Each engine's last build where a complete leak-down passed at or after it: _built_at."""
    built = (
        pl.concat(
            [
                records["rebuilds"].select("engine_id", _built_at="rebuilt_at"),
                records["piston_sets"].select("engine_id", _built_at="fitted_at"),
            ]
        )
        .group_by("engine_id", maintain_order=True)
        .agg(pl.col("_built_at").max())
    )
    tight = (
        passes.filter(pl.col("measure") == "leak_down")
        .group_by("engine_id", maintain_order=True)
        .agg(_tight_at=pl.col("inspected_at").max())
    )
    return (
        built.join(tight, on="engine_id", maintain_order="left")
        .filter(pl.col("_tight_at") >= pl.col("_built_at"))
        .select("engine_id", "_built_at")
    )


def with_releases(
    open_items: pl.DataFrame,
    records: Mapping[str, pl.DataFrame],
    as_of: datetime,
    *,
    since: str,
    what: pl.Expr,
) -> pl.DataFrame:
    """The open items with the last release that holds for each; null where none does.

    Args:
        open_items: engine_id, and the instant each item stands from.
        records: installations and releases, as known at `as_of`.
        as_of: the instant spoken of.
        since: the column with that instant; an earlier release does not hold.
        what: what a release of the item names, e.g. its measure.

    Returns:
        `open_items` with released_by, released_at, released_because, released_until.
    """
    sits = records["installations"].select("hull_id", "installed_at", "removed_at", _in="engine_id")
    given = (
        records["releases"]
        .with_row_index("_release")
        .join(sits, on="hull_id", how="left")
        .filter(
            pl.col("engine_id").is_not_null()
            | pl.col("hull_id").is_null()
            | (
                (pl.col("installed_at") <= pl.col("released_at"))
                & (pl.col("removed_at").is_null() | (pl.col("removed_at") > pl.col("released_at")))
            )
        )
        .filter(pl.col("until").is_null() | (pl.col("until") > as_of))
        .select(
            "released_by",
            "released_at",
            released_because="why",
            released_until="until",
            _what="what",
            _engine=pl.coalesce("engine_id", "_in"),
        )
        .unique(maintain_order=True)
    )
    items = open_items.with_row_index("_item").with_columns(_named=what)
    held = (
        items.select("_item", "engine_id", "_named", _since=pl.col(since))
        .join(given, how="cross")
        .filter(
            (pl.col("_engine").is_null() | (pl.col("_engine") == pl.col("engine_id")))
            & ((pl.col("_what") == ALL_OPEN) | (pl.col("_what") == pl.col("_named")))
            & (pl.col("released_at") >= pl.col("_since"))
        )
        .sort("_item", "released_at")
        .group_by("_item", maintain_order=True)
        .last()
        .select("_item", "released_by", "released_at", "released_because", "released_until")
    )
    return items.join(held, on="_item", how="left", maintain_order="left").drop("_item", "_named")
