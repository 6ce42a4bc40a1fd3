"""What wording that nobody listed speaks of: a linear reading of the words, their order and their letters.

Multinomial logistic regression on words, pairs of neighbours, the first and the last word, and three to five letters in a
row, which survive a letter read wrong. Learned by ``models/wording``; its card is in ``models/README.md``.
"""

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

NOTHING = "nothing"
"""The role of print that is no heading, or no label, at all."""

_WEIGHTS = Path(__file__).with_name("weights") / "wording.npz"
_TOKEN = re.compile(r"[^\W\d_]+|\d+|[£$%@#&+×=?*/]|[-−–]")
_PENCE = re.compile(r"£\s*[:.;|—–-]?\s*p(?:ence|p)?\b")
"""Signs over the halves for pounds and pence; by itself a p would speak of postage."""
_GRAMS = (3, 4, 5)
_MOST = 24
"""Words looked at: nobody prints a longer label."""


def features(text: str) -> tuple[npt.NDArray[np.uint32], npt.NDArray[np.float32]]:
    """Return the codes of a text's features, each once, and their values.

    Case, punctuation but for signs, and which digits stand there don't matter; that the text ends like a sentence does.
    """
    tokens = [
        "0" if token[0].isdigit() else token for token in _TOKEN.findall(_PENCE.sub("£", text.lower()))
    ][:_MOST]
    told: dict[str, float] = {"bias:": 1.0, f"long:{min(len(tokens), 8)}": 0.5}
    if len(tokens) > 2 and text.rstrip().endswith((".", "!")):
        told["sentence:"] = 1.0
    if tokens:
        told[f"first:{tokens[0]}"] = told[f"last:{tokens[-1]}"] = 0.5
    for a, b in zip(["^", *tokens], [*tokens, "$"], strict=True):
        told[f"two:{a} {b}"] = 0.7
    for token in tokens:
        told[f"word:{token}"] = 1.0
        framed = f"<{token}>"
        grams = {framed[k : k + n] for n in _GRAMS for k in range(len(framed) - n + 1)} - {framed}
        for gram in sorted(grams):  # the same answer, to the byte
            told[f"part:{gram}"] = told.get(f"part:{gram}", 0.0) + float(1.2 / np.sqrt(len(grams)))
    codes = {zlib.crc32(name.encode()): value for name, value in told.items()}
    return np.fromiter(codes, np.uint32, len(codes)), np.fromiter(codes.values(), np.float32, len(codes))


def known_features(
    text: str, codes: npt.NDArray[np.uint32]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float32]]:
    """Return where in `codes`, which are in order, a text's features stand, and their values; others are left out."""
    own, values = features(text)
    at = np.minimum(np.searchsorted(codes, own), len(codes) - 1)
    known = codes[at] == own
    return at[known], values[known]


@dataclass(frozen=True, slots=True)
class Wording:
    """A learned reading of one kind of text.

    Attributes
    ----------
    roles
        The K roles it knows, `NOTHING` among them.
    codes
        (F,) uint32: the features that it knows, in order; what it doesn't know says nothing.
    weights
        (F, K) int8.
    scale
        (K,) what a unit of a role's weights is worth, the temperature that calibrates in it.
    """

    roles: tuple[str, ...]
    codes: npt.NDArray[np.uint32]
    weights: npt.NDArray[np.int8]
    scale: npt.NDArray[np.float32]

    def __call__(self, text: str) -> Mapping[str, float]:
        """Return how probable each role is, given that `text` is all that is known."""
        at, values = known_features(text, self.codes)
        logit = (values @ self.weights[at].astype(np.float32)) * self.scale
        share = np.exp(logit - logit.max())
        return dict(zip(self.roles, (share / share.sum()).tolist(), strict=True))


@cache
def load(file: Path, kind: str) -> Wording:
    """Return the learned reading of ``heading`` or ``label`` that a file holds."""
    with np.load(file, allow_pickle=False) as stored:
        roles = tuple(str(role) for role in stored[f"{kind}_roles"])
        parts = (stored[f"{kind}_{part}"] for part in ("codes", "weights", "scale"))
        return Wording(roles, *parts)


def wording(kind: str) -> Wording:
    """Return the learned reading of ``heading`` or ``label`` that ships."""
    return load(_WEIGHTS, kind)
