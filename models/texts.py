"""What people write into the boxes of an order slip: amounts, quantities, codes, dates, marks.

The shapes are common practice on order forms, no source.
"""

from numpy.random import Generator

_DIGITS = "0123456789"


def _digits(rng: Generator, count: int) -> str:
    return "".join(_DIGITS[i] for i in rng.integers(0, 10, count))


def _whole(rng: Generator, count: int) -> str:
    """Return a whole number of `count` digits that does not begin with 0."""
    return _DIGITS[int(rng.integers(1, 10))] + _digits(rng, count - 1)


def _pence(rng: Generator) -> str:
    pick = rng.random()
    if pick < 0.2:
        return ("99", "50", "95", "00", "49")[int(rng.integers(5))]
    if pick < 0.3:
        return "00"
    return _digits(rng, 2)


def amount(rng: Generator) -> str:
    """Return a sum of money in one of the ways people write it; a space in it stands for a gap."""
    pounds = _whole(rng, int(rng.choice([1, 2, 3, 4], p=[0.4, 0.38, 0.17, 0.05])))
    if rng.random() < 0.06:
        pounds = "0"
    pick = rng.random()
    if pick < 0.60:
        text = f"{pounds}.{_pence(rng)}"
    elif pick < 0.68:
        text = f"{pounds}-{_pence(rng)}"
    elif pick < 0.72:
        text = f"{pounds},{_pence(rng)}"
    elif pick < 0.75:
        text = f"{pounds}:{_pence(rng)}"
    elif pick < 0.83:
        text = pounds
    elif pick < 0.86:
        text = f"{pounds}.-" if rng.random() < 0.5 else f"{pounds}-"
    elif pick < 0.92:
        text = f"{_whole(rng, int(rng.integers(1, 3)))}p"
    elif pick < 0.95:
        text = f".{_pence(rng)}"
    elif pick < 0.965:
        text = f"{_whole(rng, int(rng.integers(1, 4)))},{_digits(rng, 3)}.{_pence(rng)}"
    elif pick < 0.985:  # a rule of the form parts them, or nothing does
        text = f"{pounds} {_pence(rng)}"
    else:
        text = _digits(rng, int(rng.integers(3, 6)))
    if rng.random() < 0.16 and not text.endswith("p"):
        text = "£" + text
    elif rng.random() < 0.03 and "." in text and not text.endswith("-"):
        text += "p" if rng.random() < 0.5 else "-"
    return text


def quantity(rng: Generator) -> str:
    """Return a number of pieces, bare or with a times sign or a tail."""
    text = _whole(rng, int(rng.choice([1, 2, 3], p=[0.62, 0.3, 0.08])))
    if rng.random() < 0.15:
        text = "1" if rng.random() < 0.85 else "11"
    pick = rng.random()
    if pick < 0.10:
        return "x" + text
    if pick < 0.20:
        return text + "x"
    if pick < 0.24:
        return text + "-"
    return text


def code(rng: Generator) -> str:
    """Return an article number; a space in it stands for a gap."""
    pick = rng.random()
    if pick < 0.36:
        return _digits(rng, 6)
    if pick < 0.52:
        return f"{_digits(rng, 3)}-{_digits(rng, 3)}"
    if pick < 0.74:
        return _digits(rng, int(rng.integers(3, 9)))
    if pick < 0.88:  # a page of the catalogue and the article on it
        return f"{_digits(rng, int(rng.integers(1, 5)))}/{_digits(rng, int(rng.integers(1, 4)))}"
    if pick < 0.91:
        return f"{_digits(rng, 2)}.{_digits(rng, int(rng.integers(2, 5)))}"
    if pick < 0.95:
        return f"{_digits(rng, int(rng.integers(1, 5)))}-{_digits(rng, int(rng.integers(1, 4)))}"
    return f"{_digits(rng, int(rng.integers(2, 5)))} {_digits(rng, int(rng.integers(2, 5)))}"


def other(rng: Generator) -> str:
    """Return a date, a telephone number, a time or a loose mark."""
    pick = rng.random()
    if pick < 0.28:
        sign = "/.-"[int(rng.integers(3))]
        year = _digits(rng, 2) if rng.random() < 0.6 else "20" + _digits(rng, 2)
        parts = [str(int(rng.integers(1, 32))), str(int(rng.integers(1, 13))), year]
        return sign.join(parts if rng.random() < 0.6 else parts[:2])
    if pick < 0.40:
        cut = int(rng.integers(3, 6))
        return f"{_digits(rng, cut)}-{_digits(rng, int(rng.integers(3, 7)))}"
    if pick < 0.46:
        return f"{int(rng.integers(1, 13))}:{_digits(rng, 2)}"
    if pick < 0.56:
        return f"{_digits(rng, int(rng.integers(1, 4)))}/{_digits(rng, int(rng.integers(1, 3)))}"
    if pick < 0.64:
        return '"'
    if pick < 0.68:  # what ditto marks are easily taken for, and far more often written
        return "11"
    if pick < 0.77:
        return "-"
    if pick < 0.80:
        return "1"
    if pick < 0.82:
        return "."
    if pick < 0.84:
        return "-" + _digits(rng, 1) + "." + _digits(rng, 2)
    if pick < 0.90:
        return "0" * int(rng.integers(1, 4))
    # Runs of one digit and of zeros and ones, which a reader likes to miscount.
    few = _digits(rng, 2) + "01"
    return "".join(few[i] for i in rng.integers(0, 4, int(rng.integers(2, 7))))


def text(rng: Generator) -> str:
    """Return something that may stand in a box; a space in it stands for a gap."""
    pick = rng.random()
    if pick < 0.40:
        return amount(rng)
    if pick < 0.60:
        return quantity(rng)
    if pick < 0.84:
        return code(rng)
    return other(rng)
