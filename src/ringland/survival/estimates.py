"""One number with its limits, and the level every room of the project states them at."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import ndtri

from ringland.settings.assumptions import load_assumptions

CONFIDENCE = load_assumptions().number("survival.confidence")


@dataclass(frozen=True)
class Estimate:
    """A value with two-sided limits; a limit the record cannot set is 0 or infinity.

    `method` says how the limits were made, e.g. 'profile likelihood'.
    """

    value: float
    low: float
    high: float
    confidence: float
    method: str


def normal_deviate(confidence: float) -> float:
    """The normal deviate of a two-sided level, e.g. 1.96 for 0.95.

    Raises:
        ValueError: the level does not lie between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; give a share between 0 and 1, e.g. 0.95.")
    return float(ndtri(0.5 + confidence / 2.0))
