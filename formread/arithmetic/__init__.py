"""The judge: was the customer's sum right? Pure numbers, no pixels.

One call judges one slip: ``judge(readings)`` takes a slip's readings (:class:`SlipReadings`) and answers with a
:class:`Judgement`. With a person at the desk it goes back and forth:

1. ``judgement = judge(readings)``. For an unsure slip ``judgement.asks`` names the boxes worth a look, as
   :class:`BoxRef` (role and row), that one first which settles most; ``judgement.ask`` is the first of them.
2. The person looks, and says what stands in the box. All that was confirmed so far is one mapping,
   ``{BoxRef("unit_price", 3): 499, BoxRef("total"): 1298, BoxRef("line_total", 2): None}``: minor units, None
   for an empty box, :data:`~formread.record.DITTO` for a ditto mark. ``BoxRef("struck_out", 4): 1`` says that
   row 4 is crossed out, 0 that it stands; ``BoxRef("delivery", nth=1)`` is the second delivery box.
3. ``judge(readings, facts=facts)`` judges anew, the facts standing in the place of readings.

The same price list, pile evidence and rates as before belong in every call. Nothing is kept between calls: an
answer follows from its arguments alone.
"""

from formread.arithmetic.evidence import Confirmed, Tabled
from formread.arithmetic.facts import Facts, confirm
from formread.arithmetic.judge import judge
from formread.arithmetic.learning import relearn, tally
from formread.arithmetic.listed import Offer, PilePrices
from formread.arithmetic.record import BoxRef, Judgement, SlipReadings
from formread.arithmetic.terms import NO_TERMS, Terms

__all__ = [
    "NO_TERMS",
    "BoxRef",
    "Confirmed",
    "Facts",
    "Judgement",
    "Offer",
    "PilePrices",
    "SlipReadings",
    "Tabled",
    "Terms",
    "confirm",
    "judge",
    "relearn",
    "tally",
]
