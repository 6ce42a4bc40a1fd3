"""What each mistake costs, in pence and minutes: the one place that turns probabilities into answers.

The answer is the one with the least expected cost. A seller who doubts these numbers changes them here; the
figures are assumptions, chosen so that a wrong sum is all but never passed (a loss nobody would ever notice)
and so that a customer is all but never blamed wrongly (an embarrassment on the doorstep).
"""

from dataclasses import dataclass

from formread.slips import Verdict


@dataclass(frozen=True, slots=True)
class Costs:
    """Costs of the judge's mistakes.

    Attributes
    ----------
    passed
        Pence lost when a wrong sum is passed as agreeing: nobody looks at that slip again, so beside the money
        it costs the trust in every other ``agrees``. So dear that of a thousand wrong sums one may pass
        (``tests/measure/judging.py`` prints what other limits would give).
    false_alarm
        Pence lost when a right sum is called wrong: a look, as for an unsure slip, for the seller sees the boxes
        beside the claim before a customer hears of it; and in one of twenty-three a customer who is asked
        about a mistake that is ours, which costs 400.
    look_minutes, minute
        Minutes of a person's look at an unsure slip, and pence a minute.
    """

    passed: float = 8_000.0
    false_alarm: float = 30.0
    look_minutes: float = 0.5
    minute: float = 25.0

    @property
    def look(self) -> float:
        """Pence that one look costs."""
        return self.look_minutes * self.minute

    def of_passing(self, wrong: float) -> float:
        """Expected pence of answering ``agrees`` when the sum is wrong with probability `wrong`."""
        return wrong * self.passed

    def of_accusing(self, wrong: float) -> float:
        """Expected pence of answering ``wrong``."""
        return (1 - wrong) * self.false_alarm

    def verdict(self, wrong: float) -> Verdict:
        """The cheapest answer when the sum is wrong with probability `wrong`; a tie is a look."""
        passing, accusing = self.of_passing(wrong), self.of_accusing(wrong)
        if self.look <= min(passing, accusing):
            return "unsure"
        return "agrees" if passing < accusing else "wrong"

    def least(self, wrong: float) -> float:
        """Expected pence of the cheapest answer."""
        return min(self.of_passing(wrong), self.of_accusing(wrong), self.look)


STANDARD_COSTS = Costs()
"""From these follow the thresholds: ``agrees`` below 0.16 % wrong, ``wrong`` above 58.3 %."""
