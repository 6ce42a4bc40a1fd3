"""The list on the terminal says the worst first, keeps to the width, and shows on any terminal."""

import textwrap
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.export.listing import LEAST_WIDTH, listing, problems_list
from formread.money import currency, format_money
from formread.slips import Problem, Report
from tests.export.pile import PILE
from tests.strategies import reports

ENCODINGS = ["utf-8", "ascii", "cp437", "cp1252", "latin-1", "no-such-encoding"]


def test_the_hand_made_pile_reads_as_it_should() -> None:
    assert listing(PILE, width=80) == textwrap.dedent("""\
        Wrong totals, most money first

          Slip   Customer's total   Right total   Difference   Who loses
          0043             £16.00        £26.00      -£10.00   you lose £10.00
                 Ten pounds too little: a carry is missing in the sum of the lines.
                 IMG_0003.jpg
          0042             £22.80        £21.80       +£1.00   customer loses £1.00
                 Row 1: 4 x £3.95 is £15.80, but £16.80 is written: a carry too many.
                 IMG_0002.jpg

        Unsure: please look at these slips yourself

          Slip   Customer's total   Likely total   Difference   Look at
          0045              £8.75          £8.15       +£0.60   the total
                 The total may read £8.75 or £8.15.
                 IMG_0004.jpg, slip 2 of 2
          -                  none          £5.50            -   the total
                 No total is written.
                 IMG_0004.jpg, slip 1 of 2

        5 slips: 1 agrees, 2 wrong, 2 unsure; 1 problem; £11.25 at stake.
        """)


def test_a_narrow_terminal_gets_small_paragraphs() -> None:
    text = listing(PILE, width=44)
    assert text.startswith(
        textwrap.dedent("""\
        Wrong totals, most money first

          Slip 0043: you lose £10.00
            Customer's total £16.00, Right total
            £26.00, Difference -£10.00
            Ten pounds too little: a carry is
            missing in the sum of the lines.
            IMG_0003.jpg
        """)
    )


@pytest.mark.parametrize("encoding", ["ascii", "no-such-encoding"])
def test_a_terminal_without_the_pound_sign_gets_the_code(encoding: str) -> None:
    text = listing(PILE, encoding=encoding)
    assert text.isascii()
    assert "?" not in text
    assert "4 x GBP 3.95 is GBP 15.80" in text
    assert text.endswith("GBP 11.25 at stake.\n")


def test_nothing_wrong_is_said_too() -> None:
    assert listing(Report("GBP", PILE.slips[:1], ())) == (
        "Every total agrees.\n\n1 slip: 1 agrees, 0 wrong, 0 unsure; 0 problems; £0.00 at stake.\n"
    )
    assert listing(Report("JPY", (), ())) == (
        "No slips were found.\n\n0 slips: 0 agree, 0 wrong, 0 unsure; 0 problems; ¥0 at stake.\n"
    )


def columns(line: str) -> int:
    """Columns of a line by Unicode's East Asian Width (UAX 11); marks that combine take none."""
    return sum(
        (2 if unicodedata.east_asian_width(sign) in "WF" else 1)
        for sign in line
        if unicodedata.category(sign) not in ("Mn", "Me")
    )


@given(reports(), st.integers(0, 130), st.sampled_from(ENCODINGS))
def test_every_slip_that_needs_a_person_is_listed_within_the_width(
    report: Report, width: int, encoding: str
) -> None:
    text = listing(report, width, encoding) + problems_list(report, width, encoding)
    text.encode("ascii" if encoding == "no-such-encoding" else encoding)
    lines = text.splitlines()
    assert all(columns(line) <= max(width, LEAST_WIDTH) for line in lines)
    assert all(unicodedata.category(sign) not in ("Cc", "Cf", "Cs") for line in lines for sign in line)
    assert text.count("\n") == len(lines)
    if encoding == "utf-8":
        unbroken = "".join(text.split())
        for slip in report.slips:
            if slip.verdict != "agrees":
                amount = format_money(slip.computed_total, currency(report.currency))
                assert "".join(amount.split()) in unbroken


def test_problems_are_sentences_with_the_photo_first() -> None:
    assert problems_list(PILE) == "IMG_0005.jpg: The photo is cut off in the middle. Copy it again.\n"
    report = Report("GBP", (), (Problem("sc\x1b[2Jan.pdf", 3, "Nothing is on this page."),))
    assert problems_list(report) == "sc [2Jan.pdf, page 3: Nothing is on this page.\n"
