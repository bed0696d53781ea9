"""How distances are written: with as many digits as a photographer can use."""

import itertools
import math
from collections.abc import Sequence

FEW_UNITS = 3
"""Two distances are told apart by at least so many units of the last digit."""

MOST_DIGITS = 4
"""A tenth of a millimetre: nobody focuses finer."""


def distance(value_m: float, *, least_digits: int = 0) -> str:
    """Return a distance as text.

    >>> distance(0.3142), distance(2.2), distance(14), distance(250.4), distance(math.inf)
    ('0.314 m', '2.20 m', '14.0 m', '250 m', 'infinity')
    """
    if math.isinf(value_m):
        return "infinity"
    digits = 3 if value_m < 1 else 2 if value_m < 10 else 1 if value_m < 100 else 0
    return f"{value_m:.{max(digits, least_digits)}f} m"


def distances(values_m: Sequence[float]) -> list[str]:
    """Return distances, near to far, as texts that tell each from the next.

    >>> distances([1.9964, 2.0036]), distances([2.2, 2.6, math.inf])
    (['1.996 m', '2.004 m'], ['2.20 m', '2.60 m', 'infinity'])
    """
    steps = [far - near for near, far in itertools.pairwise(values_m) if far > near]
    least = min(steps, default=math.inf)
    enough = (n for n in range(MOST_DIGITS) if least * 10**n >= FEW_UNITS)
    digits = next(enough, MOST_DIGITS)
    return [distance(value, least_digits=digits) for value in values_m]


def span(near_m: float, far_m: float) -> str:
    """Return an interval of distances as text.

    >>> span(3.95, 4.05), span(20, math.inf)
    ('3.95 to 4.05 m', '20.0 m to infinity')
    """
    near, far = distances((near_m, far_m))
    return f"{near} to {far}" if math.isinf(far_m) else f"{near.removesuffix(' m')} to {far}"


def between(near_m: float, far_m: float) -> str:
    """Return an interval after the word "between".

    >>> between(12.4, 29)
    '12.4 and 29.0 m'
    """
    return span(near_m, far_m).replace(" to ", " and ")
