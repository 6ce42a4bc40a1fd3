"""Rows of two storeys: what is ordered on one line, how many and what it costs on the next, or tall boxes beside both."""

from numpy.random import Generator

from models.forms.table import Spec

_WORDS = ("description", "size", "other", "code", "page")
_MODES = ("grid", "boxes", "underlines")


def part(rng: Generator, spec: Spec) -> bool:
    """Set the columns of a table on two storeys; say whether that was possible."""
    kinds = [c.kind for c in spec.columns]
    if spec.printed or len(kinds) < 4 or "line_total" not in kinds:
        return False
    words = {"description"} if rng.random() < 0.5 else set(_WORDS[: int(rng.integers(1, len(_WORDS) + 1))])
    words &= set(kinds)
    rest = [kind for kind in kinds if kind not in words and kind != "row"]
    if not words or not rest:
        return False
    tall = {kind for kind in ("unit_price", "line_total") if kind in rest} if rng.random() < 0.25 else set()
    if len([kind for kind in rest if kind not in tall]) < 1:
        tall = set()
    above = rng.random() < 0.6
    split = float(rng.uniform(0.42, 0.58))
    for c in spec.columns:
        if c.kind == "row" or c.kind in tall:
            continue
        upper = (c.kind in words) == above
        c.floor = (0.0, split) if upper else (split, 1.0)
    spec.storeyed = True
    if spec.mode not in _MODES:
        spec.mode = _MODES[int(rng.integers(len(_MODES)))]
    spec.band, spec.boxed, spec.white, spec.upright, spec.group, spec.rounded = (
        None,
        False,
        False,
        False,
        None,
        0.0,
    )
    spec.sections = False
    spec.apart = float(rng.uniform(0.0, 0.12)) if rng.random() < 0.6 else 0.0
    if rng.random() < 0.45:
        spec.heading, spec.labelled = "none", True
    elif spec.heading in ("none", "reversed"):
        spec.heading = "plain" if rng.random() < 0.5 else "line"
    for c in spec.columns:
        c.shaded = False
    return True
