"""What a layout's looks say of how it may have gone astray, in the judge's own terms.

A layout knows how surely it named its boxes, and whether anything on the sheet looks like a box and is in none. Both were
held against 295 slips of 36 pads that no weights had seen (``tests/measure/astray.py``): of 275 whose boxes were found
rightly, and named so in the end, 231 showed no odd sign; of nine whose rows, columns or total were not, two.
"""

from typing import Final

from formread.arithmetic.astray import DOUBT, FAILURES, Failure, Leans
from formread.layout.record import Layout, Trust

PHYSICAL: Final[tuple[Failure, ...]] = ("row", "excess", "charge", "deduction", "cut", "any")
"""Failures to find a box where it is."""
ODD: Final = {"stray_rows": 0.03, "stray_totals": 0.05, "unparted": 0.03, "beyond": 0.05}
"""From what on each sign is odd."""
LEAST_SEEN: Final = 0.93
"""A total's box of which less is seen as one is odd."""
EVEN_LOOKS, ODD_LOOKS = 0.4, 4.0
"""How many times oftener layouts whose boxes were found wrongly show no odd sign, and show one or more: see above."""
LEAST, MOST = 0.03, 300.0
"""Roles are never held for more or less sure than that: the network may be wrong about a whole pad."""


def leans_of(layout: Layout) -> Leans:
    """Say by how much each failure is more probable for a layout's looks."""
    leans: dict[Failure, float] = dict.fromkeys(PHYSICAL, ODD_LOOKS if odd(layout.trust) else EVEN_LOOKS)
    leans["role"] = _lean(layout.trust.totals, "role")
    leans["columns"] = _lean(layout.probability, "columns")
    return leans


def odd(trust: Trust) -> int:
    """Count the signs that boxes were not found as they are."""
    found = sum(bool(getattr(trust, name) > limit) for name, limit in ODD.items())
    return found + (trust.seen < LEAST_SEEN)


def _lean(probability: float, kind: Failure) -> float:
    """How many times more probable a failure is than it usually is, where what was found is right with `probability`."""
    usual = DOUBT * FAILURES[kind].value
    return min(max((1 - probability) / max(probability, 1e-6) / usual, LEAST), MOST)
