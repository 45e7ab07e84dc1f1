"""How strong something unrecorded would have to be to explain an association away.

E-value of a risk ratio RR >= 1: RR + sqrt(RR (RR - 1)); of one below 1, that of 1 / RR.
VanderWeele and Ding (2017), Annals of Internal Medicine 167:268-274.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

SOURCE = "VanderWeele and Ding (2017), Annals of Internal Medicine 167:268-274"


@dataclass(frozen=True)
class EValue:
    """Least risk ratio with both fuel and failure that something unrecorded would need.

    `point` is for the estimate, `limit` for the limit nearer to no effect; `limit` is 1
    where the range holds no effect, so that nothing unrecorded is needed.
    """

    point: float
    limit: float
    source: str = SOURCE


def e_value(risk_ratio: float) -> float:
    """The E-value of one risk ratio.

    Raises:
        ValueError: the ratio is not above zero.
    """
    if not 0 < risk_ratio < math.inf:
        raise ValueError(f"risk ratio is {risk_ratio}; give a number above zero.")
    ratio = max(risk_ratio, 1 / risk_ratio)
    return ratio + math.sqrt(ratio * (ratio - 1))


def e_value_with_limit(risk_ratio: float, low: float, high: float) -> EValue:
    """The E-values of an estimate and of its limit nearer to 1.

    Raises:
        ValueError: a ratio is not above zero, or the limits do not enclose the estimate.
    """
    if not low <= risk_ratio <= high:
        raise ValueError(f"risk ratio {risk_ratio} lies outside its limits {low} to {high}.")
    nearer = low if low > 1 else high
    return EValue(e_value(risk_ratio), 1.0 if low <= 1 <= high else e_value(nearer))
