"""Hypothesis strategies that several rooms share: slips and reports as the judge makes them."""

from hypothesis import strategies as st

from formread.money import CURRENCIES
from formread.slips import Charge, ChargeKind, Line, Problem, Report, Slip, Verdict

_CHARGE_SIGNS: dict[ChargeKind, int] = {"delivery": 1, "discount": -1, "deposit": -1, "other": 1}


_SIGNS = (
    "aZ09 =+-@'\"`,;:./\\%#&<>|()[]{}_*?!~^$£€¥"
    "\t\r\n\x00\x07\x1b\x7f\x85\xa0\u0301\u200b\u202e\u2028"  # control signs and signs without a width
    "ÀßéŁı\u00d7ØжאشΩ中あ한\uff1d\uff0b🙂"
)
"""Letters of several scripts, what spreadsheets, CSV and terminals trip over, and control signs."""


def words(most: int = 24) -> st.SearchStrategy[str]:
    """Text as people and file systems make it, formula starts and control signs among it."""
    awkward = st.sampled_from(
        [
            "=1+1",
            "+44",
            "-",
            "@now",
            "\t=x",
            "\r=x",
            "'quoted",
            "''",
            'a "b"',
            "a,b",
            "a\r\nb",
            "007",
            " 1",
            "£5",
        ]
    )
    return st.one_of(st.text(_SIGNS, max_size=most), awkward)


def numerals(digits: int) -> st.SearchStrategy[str]:
    """A number as text, with its leading zeros."""
    return st.integers(0, 10**digits - 1).map(lambda value: f"{value:0{digits}d}")


def amounts(least: int = 0, most: int = 99_999) -> st.SearchStrategy[int]:
    """Minor units."""
    return st.integers(least, most)


def right_line_total(line: Line) -> int | None:
    """What a line comes to by the rule of the slips; None for a line that does not count.

    Said here once more, apart from the product's own wording of the rule, so that tests can compare.
    """
    if line.struck_out:
        return None
    if line.unit_price is None:
        return line.line_total or 0
    return line.unit_price * (1 if line.quantity is None else line.quantity)


@st.composite
def lines(draw: st.DrawFn, row: int = 1) -> Line:
    """One line; any of its boxes may be empty, and the written line total may be wrong."""
    return Line(
        row=row,
        code=draw(st.none() | numerals(6) | words(8)),
        description=draw(st.none() | words()),
        quantity=draw(st.none() | st.integers(0, 99)),
        unit_price=draw(st.none() | amounts(0, 9_999)),
        line_total=draw(st.none() | amounts()),
        struck_out=draw(st.sampled_from([False, False, False, True])),
    )


@st.composite
def charges(draw: st.DrawFn) -> Charge:
    """One charge, with the sign that its kind has."""
    kind = draw(st.sampled_from(sorted(_CHARGE_SIGNS)))
    return Charge(kind, _CHARGE_SIGNS[kind] * draw(amounts(0, 999)))


@st.composite
def slips(draw: st.DrawFn, most_lines: int = 4) -> Slip:
    """A slip whose right total is what its lines and charges come to, as every judged slip's is."""
    rows = sorted(draw(st.sets(st.integers(1, 30), max_size=most_lines)))
    drawn = tuple(draw(lines(row)) for row in rows)
    added = tuple(draw(st.lists(charges(), max_size=3)))
    right = tuple((line.row, total) for line in drawn if (total := right_line_total(line)) is not None)
    computed = sum(total for _, total in right) + sum(charge.amount for charge in added)
    written = draw(st.none() | st.just(computed) | amounts())
    verdicts: list[Verdict] = ["unsure"]
    if written is not None:
        verdicts.append("agrees" if written == computed else "wrong")
    left, top, right_edge, bottom = (draw(tenths()) for _ in range(4))
    return Slip(
        photo=draw(words()),
        page=draw(st.integers(1, 3)),
        outline=((left, top), (right_edge, top), (right_edge, bottom), (left, bottom)),
        lines=drawn,
        charges=added,
        written_total=written,
        computed_total=computed,
        difference=None if written is None else written - computed,
        verdict=draw(st.sampled_from(verdicts)),
        probability_wrong=draw(st.integers(0, 1_000_000)) / 1_000_000,
        reason=draw(words(40)),
        slip_number=draw(st.none() | numerals(4) | words(8)),
        customer=draw(st.none() | words()),
        right_line_totals=right,
        suspect_rows=tuple(draw(st.sets(st.sampled_from(rows)) if rows else st.just(set()))),
        ask=draw(st.none() | words(20)),
        at_stake=draw(amounts()),
    )


def tenths() -> st.SearchStrategy[float]:
    """A pixel position to a tenth, as the result file keeps it."""
    return st.integers(0, 80_000).map(lambda tenth: tenth / 10)


def problems() -> st.SearchStrategy[Problem]:
    """A photo that gave no slip."""
    return st.builds(Problem, photo=words(), page=st.none() | st.integers(1, 9), message=words(40))


@st.composite
def reports(draw: st.DrawFn, most_slips: int = 3) -> Report:
    """What one run found, in any currency that formread knows."""
    return Report(
        currency=draw(st.sampled_from(sorted(CURRENCIES))),
        slips=tuple(draw(st.lists(slips(), max_size=most_slips))),
        problems=tuple(draw(st.lists(problems(), max_size=2))),
    )
