"""Train the reading of wording and write its weights.

    python -m models.wording.train FOLDER

writes ``formread/layout/weights/wording.npz``, and to FOLDER for each designer of pads what has learned from all others, for
``tests.measure.wording``. The temperature is fitted on what those say of the pads that they have not learned from.
"""

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar
from scipy.sparse import csr_matrix
from sklearn.linear_model import LogisticRegression

from formread.layout import wording
from formread.layout.wording import NOTHING, Wording, features, known_features
from models.wording.corpus import KINDS, Example, misread, of_lists, of_others, of_pads, of_phrases

_OUT = Path(wording.__file__).with_name("weights") / "wording.npz"
_SEED = 7
_LEAST = 2
"""In how many texts a feature must be to be learned."""
_COPIES = 4
"""Misread copies of a text; they weigh together as much as the text itself."""
_NOTHING = 0.3
"""How much all that is nothing weighs, of all: where the product looks for a heading or a label there mostly is one."""
_STRENGTH = 4.0
"""The inverse of the ridge; twice and half of it do alike by designer."""


def matrix(texts: Sequence[str], codes: npt.NDArray[np.uint32]) -> csr_matrix:
    """Return the features of N texts as an (N, F) matrix; those that are none of the F `codes` are left out."""
    rows, columns, values = [], [], []
    for n, text in enumerate(texts):
        at, value = known_features(text, codes)
        rows.append(np.full(len(at), n))
        columns.append(at)
        values.append(value)
    joined = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return csr_matrix(joined, shape=(len(texts), len(codes)))


@dataclass(frozen=True, slots=True)
class Fitted:
    """A regression and the codes of its features, in order."""

    model: LogisticRegression
    codes: npt.NDArray[np.uint32]

    def logits(self, texts: Sequence[str]) -> npt.NDArray[np.float64]:
        """Return (N, K) what it says of N texts."""
        return np.asarray(self.model.decision_function(matrix(texts, self.codes)))

    def packed(self, temperature: float) -> Wording:
        """Return it in eight bits, without features that then say nothing; its constant is a feature of every text."""
        weights = self.model.coef_.T.copy()
        bias, value = features("")
        weights[np.searchsorted(self.codes, bias[0])] += self.model.intercept_ / value[0]
        scale = np.abs(weights).max(axis=0) / 127
        stored = np.round(weights / scale).astype(np.int8)
        says = stored.any(axis=1)
        roles = tuple(str(c) for c in self.model.classes_)
        return Wording(roles, self.codes[says], stored[says], (scale / temperature).astype(np.float32))


def fit(examples: Sequence[Example]) -> Fitted:
    """Return the regression that `examples` teach."""
    rng = np.random.default_rng(_SEED)
    texts, roles, weights = [], [], []
    for one in examples:
        texts.append(one.text)
        roles.append(one.role)
        weights.append(one.weight / 2)
        for _ in range(_COPIES):
            texts.append(misread(rng, one.text))
            roles.append(one.role)
            weights.append(one.weight / 2 / _COPIES)
    seen = Counter(int(code) for text in {one.text.lower() for one in examples} for code in features(text)[0])
    codes = np.array(sorted(code for code, n in seen.items() if n >= _LEAST), np.uint32)
    target, weight = np.array(roles), np.array(weights)
    none = target == NOTHING
    weight[none] *= _NOTHING / (1 - _NOTHING) * weight[~none].sum() / weight[none].sum()
    model = LogisticRegression(C=_STRENGTH, max_iter=400)
    return Fitted(model.fit(matrix(texts, codes), target, weight), codes)


def _temperature(
    logits: npt.NDArray[np.float64], truth: npt.NDArray[np.intp], weight: npt.NDArray[np.float64]
) -> float:
    def loss(log: float) -> float:
        scaled = logits / np.exp(log)
        scaled = scaled - scaled.max(axis=1, keepdims=True)
        told = scaled[np.arange(len(truth)), truth] - np.log(np.exp(scaled).sum(axis=1))
        return float(-(told * weight).sum() / weight.sum())

    return float(np.exp(minimize_scalar(loss, bounds=(-1.5, 1.5), method="bounded").x))


def unseen(kind: str) -> dict[str, Wording]:
    """Return for each designer what has learned from all others, and under "" what has learned from all."""
    pads = of_pads(kind)
    rest = [*of_phrases(kind), *of_lists(kind), *of_others(np.random.default_rng(_SEED))]
    models = {}
    logits, truth, weight = [], [], []
    for designer in sorted({one.designer for one in pads}):
        model = fit([one for one in pads if one.designer != designer] + rest)
        models[designer] = model
        own = [one for one in pads if one.designer == designer]
        logits.append(model.logits([one.text for one in own]))
        truth += [int(np.flatnonzero(model.model.classes_ == one.role)[0]) for one in own]
        weight += [one.weight * (0.15 if one.role == NOTHING else 1.0) for one in own]
    temperature = _temperature(np.concatenate(logits), np.array(truth), np.array(weight))
    return {designer: model.packed(temperature) for designer, model in models.items()} | {
        "": fit(pads + rest).packed(temperature)
    }


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(description="Train the reading of wording.")
    parser.add_argument("folder", type=Path, help="gets what has learned from all designers but one")
    given = parser.parse_args()
    stored: dict[str, dict[str, npt.NDArray[np.generic]]] = {}
    for kind in KINDS:
        for designer, model in unseen(kind).items():
            of = stored.setdefault(designer, {})
            of[f"{kind}_roles"] = np.array(model.roles)
            of[f"{kind}_codes"] = model.codes
            of[f"{kind}_weights"] = model.weights
            of[f"{kind}_scale"] = model.scale
    given.folder.mkdir(parents=True, exist_ok=True)
    for designer, arrays in stored.items():
        np.savez_compressed(given.folder / f"{designer}.npz" if designer else _OUT, **arrays)


if __name__ == "__main__":
    main()
