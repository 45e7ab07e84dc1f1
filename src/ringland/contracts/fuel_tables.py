"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy


class SessionFuel(dy.Schema):
    """One row per rental: what was in the litres it burned.

    `octane_low_aki` and `octane_high_aki` bound the blend over what the record leaves
    open: unrecorded fills, fills without a grade, a number without its scale, a lone RON or
    MON, a booster's real benefit and octane.label_spread_on on every label.  `octane_aki` is
    null where none of the fuel is on record; the bounds stand even then.
    """

    hull_id = dy.String()
    started_at = dy.Datetime(time_zone="UTC")
    burn_l = dy.Float64(min=0)
    octane_aki = dy.Float64(nullable=True)
    octane_low_aki = dy.Float64(nullable=True)
    octane_high_aki = dy.Float64(nullable=True)
    fuel_age_d = dy.Float64(nullable=True, description="litres-weighted mean age")
    fuel_age_low_d = dy.Float64(nullable=True, description="if what is not on record was fresh")
    fuel_age_high_d = dy.Float64(nullable=True, description="if what is not on record was old")
    fuel_age_p90_d = dy.Float64(nullable=True, description="nine tenths of the litres are younger")
    share_over_14d = dy.Float64(nullable=True)
    share_over_28d = dy.Float64(nullable=True)
    unknown_share = dy.Float64(
        description="share of the litres whose octane is not on record; a number without its "
        "scale counts with the chance that the likeliest scale is wrong"
    )
    tank_before_l = dy.Float64()
    tank_after_l = dy.Float64()


class DockEvents(dy.Schema):
    """One row per event of late of a dock's tank, of several the one most was drawn from."""

    dock_id = dy.String()
    at = dy.Datetime(time_zone="UTC", time_unit="us")
    event = dy.String(description="delivery, draw, drain, or what was added")
    volume_l = dy.Float64(description="as recorded, or as added")
    moved_l = dy.Float64(description="what of it fitted")
    before_l = dy.Float64()
    after_l = dy.Float64()
    octane_aki = dy.Float64(nullable=True, description="of the blend, after it if fuel came in")
    octane_low_aki = dy.Float64(nullable=True)
    octane_high_aki = dy.Float64(nullable=True)
    fuel_age_d = dy.Float64(nullable=True)
    unknown_share = dy.Float64(nullable=True)


class CraftEvents(dy.Schema):
    """One row per event of late of a craft's tank."""

    hull_id = dy.String()
    at = dy.Datetime(time_zone="UTC", time_unit="us")
    event = dy.String(description="fill, session, drain, or what was added")
    volume_l = dy.Float64(description="as recorded, or as added")
    moved_l = dy.Float64(description="what of it fitted")
    before_l = dy.Float64()
    after_l = dy.Float64()
    octane_aki = dy.Float64(nullable=True, description="of the blend, after it if fuel came in")
    octane_low_aki = dy.Float64(nullable=True)
    octane_high_aki = dy.Float64(nullable=True)
    fuel_age_d = dy.Float64(nullable=True)
    unknown_share = dy.Float64(nullable=True)
    poured_octane_aki = dy.Float64(nullable=True, description="of the litres poured in")
    poured_age_d = dy.Float64(nullable=True)
    source = dy.String(nullable=True, description="of a fill on record")
    source_dock_id = dy.String(nullable=True)


class TankBalance(dy.Schema):
    """One row per tank: where every litre of its whole record went."""

    tank = dy.String()
    kind = dy.String(description="hull or dock")
    in_recorded_l = dy.Float64()
    in_unrecorded_l = dy.Float64()
    opening_l = dy.Float64()
    clamped_l = dy.Float64(description="recorded fill that no tank of that size could take")
    burned_l = dy.Float64(description="of a dock: drawn")
    drained_l = dy.Float64()
    unexplained_out_l = dy.Float64()
    left_l = dy.Float64()
    short_l = dy.Float64(description="burn that no fuel was there for")
    unrecorded_fills = dy.Int64()
    clamped_fills = dy.Int64()
    short_burns = dy.Int64()
    off_l = dy.Float64(description="what does not add up; rounding")
    in_recent_l = dy.Float64(nullable=True, description="of late, see fuel.balance_days")
    drained_recent_l = dy.Float64(nullable=True)
    burned_recent_l = dy.Float64(nullable=True)
    is_balance_off = dy.Bool(nullable=True)


class TanksNow(dy.Schema):
    """One row per tank with fuel on record: what stands in it at the moment of the ledger.

    Octane and bounds as in `SessionFuel`, after the tank's last event; the age has gone on
    since.
    """

    tank = dy.String(primary_key=True, description="the hull or the dock")
    kind = dy.String(primary_key=True, check=lambda col: col.is_in(["hull", "dock"]))
    level_l = dy.Float64(min=0)
    octane_aki = dy.Float64(nullable=True, description="null where none of it is on record")
    octane_low_aki = dy.Float64(nullable=True)
    octane_high_aki = dy.Float64(nullable=True)
    fuel_age_d = dy.Float64(nullable=True, description="litres-weighted mean age")
    unknown_share = dy.Float64(description="of its litres, those without an octane on record")


STANDINGS = ("meets", "no margin", "may miss", "misses", "empty", "not known")
"""How a tank's fuel stands to a need, the best first; `exposure.fuel_at_hand` says when which."""


class FuelAtHand(dy.Schema):
    """One row per hull in service: its need, and its dock's tank and its own against it.

    A tank that is "short" is not to be filled from, or run on.
    `dock_way` and `own_way` name what makes fuel that falls short do: "throttle" (three-quarter
    throttle, octane.part_throttle_need_aki), "stock" (back to the stock calibration); null:
    nothing on record does.  `own_fill_aki` is the grade with which the own tank, filled to the
    brim, would do; null: none sold would make it, or it need not.
    """

    hull_id = dy.String(primary_key=True)
    dock_id = dy.String()
    calibration = dy.String(nullable=True, description="in force now")
    need_aki = dy.Float64(nullable=True)
    dock_level_l = dy.Float64(nullable=True)
    dock_octane_aki = dy.Float64(nullable=True)
    dock_octane_low_aki = dy.Float64(nullable=True)
    dock_octane_high_aki = dy.Float64(nullable=True)
    dock_fuel_age_d = dy.Float64(nullable=True)
    dock_standing = dy.String(check=lambda col: col.is_in(list(STANDINGS)))
    is_dock_short = dy.Bool()
    dock_way = dy.String(nullable=True)
    is_dock_old = dy.Bool()
    own_level_l = dy.Float64(nullable=True)
    own_octane_aki = dy.Float64(nullable=True)
    own_octane_low_aki = dy.Float64(nullable=True)
    own_octane_high_aki = dy.Float64(nullable=True)
    own_fuel_age_d = dy.Float64(nullable=True)
    own_standing = dy.String(check=lambda col: col.is_in(list(STANDINGS)))
    is_own_short = dy.Bool()
    own_way = dy.String(nullable=True)
    own_fill_aki = dy.Float64(nullable=True)
    can_fill_at_dock = dy.Bool(description="its dock's tank holds that grade, not too old")
    is_own_old = dy.Bool()


class SessionExposure(dy.Schema):
    """One row per rental: octane supplied against octane needed, in hard running.

    The bounds are those of the fuel record alone.  Engines of one model differ in what they
    need (octane.need_spread_on): see `octane_margin.chance_need_unmet`.
    """

    hull_id = dy.String()
    dock_id = dy.String()
    engine_id = dy.String()
    piston_set_id = dy.String(nullable=True)
    started_at = dy.Datetime(time_zone="UTC")
    ended_at = dy.Datetime(time_zone="UTC")
    engine_h_start = dy.Float64()
    engine_h_stop = dy.Float64()
    set_h_start = dy.Float64(nullable=True)
    set_h_stop = dy.Float64(nullable=True)
    burn_l = dy.Float64()
    octane_aki = dy.Float64(nullable=True)
    octane_need_aki = dy.Float64(nullable=True)
    octane_margin_on = dy.Float64(nullable=True, description="supplied minus needed")
    shortfall_on = dy.Float64(nullable=True, description="max(0, needed - supplied)")
    shortfall_low_on = dy.Float64(nullable=True, description="with the best fuel it may have been")
    shortfall_high_on = dy.Float64(nullable=True, description="with the worst")
    hard_running_h = dy.Float64(description="hours at full throttle")
    full_throttle_share = dy.Float64()
    is_throttle_assumed = dy.Bool(description="share not on record: the fleet's middle used")
    fuel_age_d = dy.Float64(nullable=True)
    share_over_14d = dy.Float64(nullable=True)
    share_over_28d = dy.Float64(nullable=True)
    unknown_share = dy.Float64()
    calibration = dy.String(nullable=True)


class ExposureCovariates(dy.Schema):
    """What a piston set has been through by a moment of its life.

    "25h" covariates are over the last 25 engine hours (setting exposure.trailing_h) and,
    for octane, over hard running.
    """

    piston_set_id = dy.String()
    engine_id = dy.String()
    hull_id = dy.String(description="the hull it sat in at that moment: the cluster")
    dock_id = dy.String()
    shortfall_25h_on = dy.Float64(description="mean octane shortfall in hard running")
    shortfall_25h_low_on = dy.Float64()
    shortfall_25h_high_on = dy.Float64()
    shortfall_life_onh = dy.Float64(description="sum of shortfall x hard hours since fitted")
    fuel_age_25h_d = dy.Float64(description="litres-weighted mean fuel age")
    share_over_28d_25h = dy.Float64()
    full_throttle_25h = dy.Float64(description="share of running at full throttle")
    is_raised_calibration = dy.Bool()
    is_forged = dy.Bool()
    build_number = dy.Int64(description="1 for the engine's first set on record")
    known_share_25h = dy.Float64(description="share of litres burned whose octane is on record")


class ExposureWindows(dy.Schema):
    """What a piston set itself burned by an hour of its life, over three looks back.

    `25h` is over the last exposure.trailing_h engine hours, `28d` over the last
    exposure.trailing_d days, `life` since it was fitted.  Means are over all litres of the
    window; each is split into what litres of known octane and what assumed litres bring to
    it, so the two parts add up to the mean.  Null where nothing was burned in the window.
    """

    piston_set_id = dy.String()
    at_h = dy.Float64(min=0, description="engine hours since the set was fitted")
    at = dy.Datetime(time_zone="UTC", description="when it had run them")
    burned_25h_l = dy.Float64(min=0)
    burned_28d_l = dy.Float64(min=0)
    burned_life_l = dy.Float64(min=0)
    known_25h_share = dy.Float64(nullable=True)
    known_28d_share = dy.Float64(nullable=True)
    known_life_share = dy.Float64(nullable=True)
    short_known_25h_on = dy.Float64(nullable=True, description="octane shortfall over litres")
    short_known_28d_on = dy.Float64(nullable=True)
    short_known_life_on = dy.Float64(nullable=True)
    short_assumed_25h_on = dy.Float64(nullable=True)
    short_assumed_28d_on = dy.Float64(nullable=True)
    short_assumed_life_on = dy.Float64(nullable=True)
    age_known_25h_d = dy.Float64(nullable=True)
    age_known_28d_d = dy.Float64(nullable=True)
    age_known_life_d = dy.Float64(nullable=True)
    age_assumed_25h_d = dy.Float64(nullable=True)
    age_assumed_28d_d = dy.Float64(nullable=True)
    age_assumed_life_d = dy.Float64(nullable=True)
    old_known_25h_share = dy.Float64(nullable=True, description="litres older than 28 days")
    old_known_28d_share = dy.Float64(nullable=True)
    old_known_life_share = dy.Float64(nullable=True)
    old_assumed_25h_share = dy.Float64(nullable=True)
    old_assumed_28d_share = dy.Float64(nullable=True)
    old_assumed_life_share = dy.Float64(nullable=True)


class Spells(ExposureCovariates):
    """One row per stretch (start_h, stop_h] of a piston set's life.

    Covariates look back from `start_h` only.
    """

    start_h = dy.Float64(min=0)
    stop_h = dy.Float64(min=0)
    start_at = dy.Datetime(time_zone="UTC")
    stop_at = dy.Datetime(time_zone="UTC")
    mode = dy.String(nullable=True, description="failure mode if the stretch ends in one")


class CurrentExposure(ExposureCovariates):
    """One row per running piston set: its covariates as of now, for prediction."""

    age_h = dy.Float64(min=0, description="engine hours since the set was fitted")
    last_session_at = dy.Datetime(time_zone="UTC", nullable=True)
