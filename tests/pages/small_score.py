"""A short scored history whose figures are known by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from ringland.score.score_history import ScoreHistory, score_history
from ringland.settings.assumptions import load_assumptions

SETTINGS = load_assumptions().changed(survival__draws=200)
START = datetime(2026, 5, 4, tzinfo=UTC)
AT = pl.Datetime("us", "UTC")


def history(n_hulls: int, followed_d: float) -> ScoreHistory:
    """Hulls H0, H1, ... told 30 % if even (then flagged) and 5 % if odd; every fourth fails."""
    hulls = [f"H{n}" for n in range(n_hulls)]
    keys = pl.DataFrame(
        {"hull_id": hulls, "as_of": [START] * n_hulls}, schema_overrides={"as_of": AT}
    )
    even = np.arange(n_hulls) % 2 == 0
    failed = hulls[::4]
    return score_history(
        keys.with_columns(
            age_h=pl.lit(200.0), expected_h_30d=pl.lit(40.0),
            chance_30d=pl.Series(np.where(even, 0.30, 0.05)),
        ),
        keys.with_columns(call=pl.Series(np.where(even, "book_check", "rent_as_normal"))),
        keys.with_columns(fuel_age_25h_d=pl.lit(20.0)),
        failures=pl.DataFrame(
            {"hull_id": failed, "failed_at": [START + timedelta(days=10)] * len(failed)},
            schema={"hull_id": pl.String, "failed_at": AT},
        ),
        taken_out=pl.DataFrame(schema={"hull_id": pl.String, "taken_out_at": AT}),
        followed_to=START + timedelta(days=followed_d),
        assumptions=SETTINGS,
        rng=np.random.default_rng(1),
    )  # fmt: skip
