"""From what the network says to what is true: calibration.

Two steps, both fitted on writers that neither training nor any test saw (``tests/measure/calibration.py``):
the temperature of the lattice's frames, which shapes how the probability is spread over all values, and a
straight line on the log odds of the best reading, by which readings given 0.99 are right 99 times in 100.
What the best reading gains or loses, all other answers lose or gain in proportion.

Platt, "Probabilistic outputs for support vector machines", 1999; Guo et al., ICML 2017.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

_FILE: Final = "calibration.json"
_NEVER_SURER = 1.0 - 1e-6


@dataclass(frozen=True, slots=True)
class Calibration:
    """How to correct one kind's probabilities.

    Attributes
    ----------
    temperature
        What every frame's log odds are divided by.
    slope, offset
        The line on the log odds of the best reading.
    outside
        How probable writing that no form explains is beforehand, beside writing that one does. Assumed, not
        fitted: nobody has counted how often people write what can't be read.
    """

    temperature: float = 1.0
    slope: float = 1.0
    offset: float = 0.0
    outside: float = 0.01

    def corrected(self, probability: float) -> float:
        """Return the corrected probability of a best reading."""
        if not 0.0 < probability < 1.0:
            return min(probability, _NEVER_SURER) if probability > 0.0 else 0.0
        odds = self.slope * math.log(probability / (1.0 - probability)) + self.offset
        return min(1.0 / (1.0 + math.exp(-odds)), _NEVER_SURER)


@cache
def calibrations() -> Mapping[str, Calibration]:
    """Return the calibration of each kind, as fitted; kinds that were not fitted are left out."""
    stored = files("formread.reading") / "weights" / _FILE
    if not stored.is_file():
        return {}
    return {kind: Calibration(**own) for kind, own in json.loads(stored.read_text("utf-8")).items()}


def calibration(kind: str) -> Calibration:
    """Return the calibration of a kind; that of numbers in general where the kind has none of its own."""
    fitted = calibrations()
    return fitted.get(kind) or fitted.get("number") or Calibration()
