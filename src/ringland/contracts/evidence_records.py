"""The evidence chain: what was taken, what it was measured with, where it is kept."""

from __future__ import annotations

import dataframely as dy

from ringland.contracts.record_columns import choice, instant, recorded, text, whole

EVIDENCE_KINDS = ["fuel_sample", "part_kept", "photo", "instrument", "document"]


class Evidence(dy.Schema):
    """One row per sample, part, photo, instrument or paper that belongs to a failure."""

    engine_id = text("engine serial")
    taken_at = instant("when it was taken or used")
    kind = choice(EVIDENCE_KINDS, "what it is")
    item = text("its number or file name, e.g. sample number, instrument id, photo file")
    about = text("the finding, measure or part it belongs to", nullable=True)
    cylinder = whole("cylinder number; empty: whole engine", 1, 12, True)
    seal = text("number of the seal put on it", nullable=True)
    result = text("what it showed, e.g. the laboratory's octane number", nullable=True)
    kept_where = text("where it is kept", nullable=True)
    calibrated_at = instant("an instrument's last calibration", nullable=True)
    taken_by = text("the name of whoever took or used it", nullable=True)
    recorded_at = recorded()
