"""What print means: listed words, noisy readings, and the probabilities behind them."""

import itertools

import numpy as np
import pytest

from formread.layout.vocabulary import (
    log_likelihood,
    match_heading,
    match_total,
)
from formread.ocr import PrintedText, alphabet


def printed(text: str, sure: float = 0.97) -> PrintedText:
    """Scores as the recogniser gives them for `text`: each letter, then a blank."""
    characters = alphabet()
    scores = np.full((2 * len(text) + 1, len(characters) + 1), (1 - sure) / len(characters), np.float32)
    scores[0::2, 0] = sure
    for k, letter in enumerate(text):
        scores[2 * k + 1, characters.index(letter) + 1] = sure
    return PrintedText(text, sure, scores)


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("Qty", "quantity"),
        ("QUANTITY", "quantity"),
        ("How many", "quantity"),
        ("Price each", "unit_price"),
        ("Unit price", "unit_price"),
        ("TOTAL", "line_total"),
        ("Amount", "line_total"),
        ("Cat. No.", "code"),
        ("Item no.", "code"),
        ("Ref", "code"),
        ("Page", "page"),
        ("Size", "size"),
        ("Colour", "other"),
        ("Description", "description"),
    ],
)
def test_a_heading_means_what_order_pads_mean_by_it(text: str, role: str) -> None:
    match = match_heading([printed(text)])
    assert match.known > 0.9
    assert max(match.roles, key=lambda name: match.roles[name]) == role


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("Descriptlon", "description"),
        ("Quantlty", "quantity"),
        ("T0tal", "line_total"),
        ("Unlt price", "unit_price"),
    ],
)
def test_a_letter_read_wrong_does_not_hide_a_heading(text: str, role: str) -> None:
    match = match_heading([printed(text, 0.6)])
    assert match.known > 0.5
    assert max(match.roles, key=lambda name: match.roles[name]) == role


@pytest.mark.parametrize("text", ["Marrow", "104-238", "Sxqwv", "12.47"])
def test_other_writing_is_no_heading(text: str) -> None:
    assert match_heading([printed(text)]).known < 0.5


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("Goods total", "goods"),
        ("Sub-total", "goods"),
        ("Delivery", "delivery"),
        ("Carriage", "delivery"),
        ("Less discount", "discount"),
        ("Deposit paid", "deposit"),
        ("Amount due", "total"),
        ("Total", "total"),
        ("Balance", "total"),
    ],
)
def test_a_label_of_the_totals_block_means_what_order_pads_mean_by_it(text: str, role: str) -> None:
    match = match_total([printed(text)])
    assert max(match.roles, key=lambda name: match.roles[name]) == role


def test_no_is_a_quantity_or_a_code() -> None:
    roles = match_heading([printed("No.")]).roles
    assert roles["quantity"] > 0.3
    assert roles["code"] > 0.3


def test_two_lines_make_one_heading() -> None:
    match = match_heading([printed("Price"), printed("each")])
    assert match.word == "price each"


def test_likelihood_equals_the_sum_over_all_paths() -> None:
    """By brute force over every path of a tiny alphabet (Graves et al. 2006, equation 3)."""
    characters = alphabet()
    random = np.random.default_rng(5)
    letters = [characters.index(c) + 1 for c in "ab"]
    scores = np.zeros((4, len(characters) + 1), np.float32)
    scores[:, [0, *letters]] = random.dirichlet(np.ones(3), 4)
    for text in ("a", "ab", "aa", "ba"):
        total = 0.0
        for path in itertools.product([0, *letters], repeat=4):
            merged = [c for c, _ in itertools.groupby(path) if c]
            if merged == [characters.index(c) + 1 for c in text]:
                total += float(np.prod([scores[t, c] for t, c in enumerate(path)]))
        assert log_likelihood(scores, [text])[0] == pytest.approx(np.log(total), rel=1e-4)


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("Club members' discount", "discount"),
        ("Co-op discount (minus)", "discount"),
        ("Our delivery charge £", "delivery"),
        ("Carriage & insurance", "delivery"),
        ("Total incl. delivery", "total"),
        ("Total before delivery", "goods"),
        ("Value of goods ordered", "goods"),
        ("Less deposit you paid", "deposit"),
        ("Number of pies", "count"),
        ("Balance after deposit", "total"),
    ],
)
def test_wording_that_is_not_listed_is_told_by_the_word_that_decides(text: str, role: str) -> None:
    match = match_total([printed(text)])
    assert match.known > 0.6
    assert max(match.roles, key=lambda name: match.roles[name]) == role


@pytest.mark.parametrize(
    "text",
    [
        "Delivery address",
        "Delivery date",
        "Goods remain ours until paid for in full",
        "Please pay within seven days of delivery",
        "Marrow and Finch",
        "Cheques payable to your agent.",
        "We deliver to your door.",
        "All prices include packing.",
    ],
)
def test_print_that_names_no_sum_is_no_label_of_a_total(text: str) -> None:
    assert match_total([printed(text)]).known < 0.6


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("Value of loaves and rolls", "goods"),
        ("Trolley to your door", "delivery"),
        ("Regulars take off 8 %", "discount"),
        ("Handed over on Monday", "deposit"),
        ("What you owe us now", "total"),
        ("How many trays in all", "count"),
    ],
)
def test_a_label_that_nobody_listed_is_told_by_its_wording(text: str, role: str) -> None:
    match = match_total([printed(text)])
    assert match.known > 0.6
    assert max(match.roles, key=lambda name: match.roles[name]) == role


@pytest.mark.parametrize(
    ("lines", "role"),
    [
        (("Punnets", "wanted"), "quantity"),
        (("Cost of", "a single one"), "unit_price"),
        (("which makes", "£"), "line_total"),
        (("No. in our", "leaflet"), "code"),
        (("Which loaf?",), "description"),
        (("Second", "choice"), "other"),
    ],
)
def test_a_heading_that_nobody_listed_is_told_by_its_wording(lines: tuple[str, ...], role: str) -> None:
    match = match_heading([printed(line) for line in lines])
    assert match.known > 0.6
    assert max(match.roles, key=lambda name: match.roles[name]) == role


def test_one_line_of_several_does_not_tell_for_all() -> None:
    match = match_total([printed("Total"), printed("before delivery")])
    assert max(match.roles, key=lambda name: match.roles[name]) == "goods"


def test_capitals_change_nothing() -> None:
    small, capital = match_total([printed("still to collect")]), match_total([printed("STILL TO COLLECT")])
    assert small.roles == pytest.approx(capital.roles, abs=0.01)


def test_a_letter_read_wrong_does_not_hide_wording_that_nobody_listed() -> None:
    match = match_total([printed("Stlll to co1lect")])
    assert max(match.roles, key=lambda name: match.roles[name]) == "total"


@pytest.mark.parametrize("text", ["Xqzv wkpt", "0412", "..."])
def test_nonsense_is_no_label(text: str) -> None:
    assert match_total([printed(text)]).known < 0.5


def test_roles_sum_to_one() -> None:
    for prints in ([printed("Hamper money")], [printed("Total")], [printed("Price"), printed("of all")]):
        assert sum(match_total(prints).roles.values()) == pytest.approx(1)
        assert sum(match_heading(prints).roles.values()) == pytest.approx(1)


def test_nothing_printed_means_nothing() -> None:
    assert match_total([]).known == 0
    assert match_heading([printed(" ")]).roles == {}
