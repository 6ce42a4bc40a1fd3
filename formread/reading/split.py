"""Amounts written in two boxes, pounds and pence, read as one."""

from formread.reading.readings import (
    LIKE_DITTO,
    PENCE_IN_A_POUND,
    NumberReading,
    SplitReading,
    clash_of_halves,
    probability_of_halves,
    sorted_answers,
)
from formread.record import DITTO, Reading, Value

# More combinations than this are never looked at; the judge asks for what it needs.
_MOST_CANDIDATES = 8


def _joined_text(pounds: str, pence: str) -> str:
    return f"{pounds}|{pence}" if pounds or pence else ""


def _number(half: Value) -> int:
    """Return what a half stands for beside a number; a ditto mark there is an 11."""
    return half if isinstance(half, int) else LIKE_DITTO if half == DITTO else 0


def join_pounds_pence(pounds: Reading, pence: Reading) -> SplitReading:
    """Read the halves of a split amount column as one amount.

    Parameters
    ----------
    pounds, pence
        What :func:`formread.reading.read_boxes` said of the halves as kinds ``"pounds"`` and ``"pence"``.

    Returns
    -------
    SplitReading
        An amount: ``4|99`` is 499, ``5|-`` and ``5|`` are 500, ``|99`` is 99, two empty halves are nothing.
        It is struck out if either half is, and unreadable if either half is.

    Raises
    ------
    TypeError
        If a half is not the reading of a number box.
    """
    if not isinstance(pounds, NumberReading) or not isinstance(pence, NumberReading):
        raise TypeError("join_pounds_pence joins readings of the kinds pounds and pence")
    texts: dict[Value, tuple[str, float]] = {}
    for (whole, p_whole), left in zip(pounds.values, pounds.candidates, strict=True):
        for (part, p_part), right in zip(pence.values, pence.candidates, strict=True):
            value: Value
            text = _joined_text(left.text, right.text)
            if whole is None and part is None:
                value = None
            elif {whole, part} <= {DITTO, None}:
                value = text = DITTO
            else:
                value = _number(whole) * PENCE_IN_A_POUND + _number(part)
                text = text.replace(DITTO, str(LIKE_DITTO))
            if value not in texts or p_whole * p_part > texts[value][1]:
                texts[value] = (text, p_whole * p_part)
    found = [(value, text, probability_of_halves(pounds, pence, value)) for value, (text, _) in texts.items()]
    candidates, values = sorted_answers(found)
    likely = 1.0 - clash_of_halves(pounds, pence)
    neither_struck = (1.0 - pounds.struck_out) * (1.0 - pence.struck_out)
    unread = 1.0 - (1.0 - pounds.unreadable) * (1.0 - pence.unreadable)
    return SplitReading(
        candidates=candidates[:_MOST_CANDIDATES],
        values=values[:_MOST_CANDIDATES],
        struck_out=min((1.0 - neither_struck) / likely, 1.0),
        unreadable=min(unread * neither_struck / likely, 1.0),
        pounds=pounds,
        pence=pence,
    )
