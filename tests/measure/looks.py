"""How layouts looked, sound ones and failed ones, on photos: what simulated slips borrow."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from formread.arithmetic.astray import EVEN, Leans
from formread.layout.record import Layout, Trust
from formread.pile.leaning import leans_of


@dataclass(frozen=True, slots=True)
class Looks:
    """What the looks of layouts on photos said.

    Attributes
    ----------
    sound
        Of every pad: of its slips whose boxes were found rightly.
    failed
        By failure (``tests.measure.astray``): of the slips that went astray so, and had a total.
    """

    sound: tuple[tuple[Leans, ...], ...]
    failed: dict[str, tuple[Leans, ...]]
    about: str = "nothing is known of them"

    @classmethod
    def load(cls, path: Path) -> "Looks":
        """Read what ``astray --looks`` wrote."""
        data = json.loads(path.read_text("utf-8"))
        sound: dict[str, list[Leans]] = {}
        failed: dict[str, list[Leans]] = {}
        for slip in data["slips"]:
            leans = leans_of(
                Layout((), (), (), probability=slip["probability"], trust=Trust(**slip["trust"]))
            )
            if not slip["failures"]:
                sound.setdefault(slip["pad"], []).append(leans)
            for failure in slip["failures"]:
                failed.setdefault(failure, []).append(leans)
        return cls(
            tuple(tuple(some) for _, some in sorted(sound.items())),
            {name: tuple(some) for name, some in failed.items()},
            data["about"],
        )

    def pad(self, rng: np.random.Generator) -> Sequence[Leans]:
        """Draw a pad: what its sound layouts' looks say."""
        return self.sound[int(rng.integers(len(self.sound)))]


NO_LOOKS: Final = Looks(((EVEN,),), {})
