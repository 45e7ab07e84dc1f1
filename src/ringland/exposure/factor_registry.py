"""The factors of the ring-land hazard: one entry each, read by all that speaks of a factor.

An entry names a column of the analysis table (`ExposureCovariates`) and says how it is counted,
what it is when all is well, how it looks back and ahead, what it rests on and what the record
leaves open of it.  Its step is the setting `step.<name>`.  The fit, its prior, the drivers, what
running ahead is like, the lineage of an effect and the pages read this; a new factor is an
entry here, its computation, its step and a test.
"""

from __future__ import annotations

from dataclasses import dataclass

from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class FactorEntry:
    """One factor of the hazard.

    `good` is its value when all is well, or the setting that holds it.  `knots`, in its unit,
    are where its effect may change slope.  `effect_sd` is the setting that says how wide the
    prior of its effect is, per step.  `differs_by_dock`: the effect within and between
    docks are told apart.  `turns_with_season`: its usual value stands higher in some weeks of the
    year than in others.  `totals`: for a factor that is a mean over the last running hours,
    what is summed over the sum of what in a session's totals; None: it holds until changed.
    `rests_on` is the column that says how much of it was on record, `bounds` the columns that
    hold it had the open part of the fuel record gone well or ill.
    """

    name: str
    title: str
    unit: str
    good: float | str
    heading: str
    """In a spreadsheet, with its unit."""
    is_yes_no: bool = False
    knots: tuple[float, ...] = ()
    effect_sd: str = "prior.other_effect_sd"
    differs_by_dock: bool = False
    turns_with_season: bool = False
    totals: tuple[str, str] | None = None
    rests_on: str | None = None
    bounds: tuple[str, str] | None = None

    def good_value(self, assumptions: Assumptions) -> float:
        """Its value when all is well."""
        return assumptions.number(self.good) if isinstance(self.good, str) else self.good

    def step(self, assumptions: Assumptions) -> float:
        """The size of change its prior and its reported effect speak of."""
        return assumptions.number(f"step.{self.name}")


_ENTRIES = (
    FactorEntry(
        name="shortfall_25h_on",
        title="Fuel below need in hard running",
        unit="octane numbers",
        good=0.0,
        heading="fuel below need, last 25 h (octane numbers)",
        # a threshold within reach of pump grades: one, two and three numbers below the need
        knots=(1.0, 2.0, 3.0),
        effect_sd="prior.effect_sd",
        differs_by_dock=True,
        totals=("short_onh", "hard_h"),
        rests_on="known_share_25h",
        bounds=("shortfall_25h_low_on", "shortfall_25h_high_on"),
    ),
    FactorEntry(
        name="fuel_age_25h_d",
        title="Age of the fuel burned",
        unit="days",
        good="fuel.outside_age_d",
        heading="fuel age, last 25 h (d)",
        # the trade's two weeks and four weeks; common practice, no source
        knots=(14.0, 28.0),
        effect_sd="prior.effect_sd",
        differs_by_dock=True,
        # what stood over the winter is burned in spring, and a busy summer turns tanks over
        turns_with_season=True,
        totals=("age_ld", "aged_l"),
        rests_on="known_share_25h",
    ),
    FactorEntry(
        name="full_throttle_25h",
        title="Share of time at full throttle",
        unit="share",
        good="exposure.full_throttle_share",
        heading="full throttle, last 25 h (share of 1)",
        totals=("hard_h", "hours"),
        rests_on="throttle_known_share",
    ),
    FactorEntry(
        name="is_raised_calibration",
        title="Raised calibration",
        unit="yes/no",
        good=0.0,
        heading="raised calibration",
        is_yes_no=True,
    ),
    FactorEntry(
        name="is_forged",
        title="Forged pistons",
        unit="yes/no",
        good=0.0,
        heading="forged pistons",
        is_yes_no=True,
    ),
    FactorEntry(
        name="build_number",
        title="Piston sets so far in this engine",
        unit="sets",
        good=1.0,
        heading="piston sets of the engine so far, with this one (count)",
    ),
)

FACTORS = {entry.name: entry for entry in _ENTRIES}
"""Every factor of the ring-land hazard by name, in the order shown."""

COVARIATES = tuple(FACTORS)

RESTS_ON = {e.name: e.rests_on for e in _ENTRIES if e.rests_on is not None}
"""The column of a running set that says how much of a factor was on record."""

BOUNDS = {
    "best_fuel": {e.name: e.bounds[0] for e in _ENTRIES if e.bounds is not None},
    "worst_fuel": {e.name: e.bounds[1] for e in _ENTRIES if e.bounds is not None},
}
"""Which columns stand in for a factor where the open part of the record went well or ill."""

BOUND_TOTALS = {
    "shortfall_25h_low_on": ("short_low_onh", "hard_h"),
    "shortfall_25h_high_on": ("short_high_onh", "hard_h"),
    "share_over_28d_25h": ("old_l", "aged_l"),
}
"""Columns beside the factors that are means over the last running hours too."""

MEANS = {e.name: e.totals for e in _ENTRIES if e.totals is not None} | BOUND_TOTALS
"""Each column that looks back: what is summed, over the sum of what."""

TURNING = {e.name: e.totals for e in _ENTRIES if e.turns_with_season and e.totals is not None}
"""The factors among them whose usual value turns with the season."""

LOOKING_BACK = frozenset(MEANS)
"""Columns that are means over the last running hours; the others change at once."""
