"""What the price list finds on slips that may add up perfectly."""

from dataclasses import replace
from pathlib import Path

import pytest

from formread.goods.findings import check_prices
from formread.goods.price_list import PriceList, read_price_list
from formread.slips import Line, Report, Slip

LIST = """code,description,price,was,offer
104-238,Lilac soap,4.99,4.49,
104-239,Beech brush,12.50,,
104-240,Cotton cloth,3.00,,2.50
117-001,Enamel bowl,8.75,,
117-010,Tin mug,6.20,,
0042,Candle,1.05,,
"""


@pytest.fixture(name="prices")
def prices_fixture(tmp_path: Path) -> PriceList:
    path = tmp_path / "spring.csv"
    path.write_text(LIST)
    return read_price_list(path)


def one_slip(*lines: Line) -> Report:
    slip = Slip(
        photo="a.jpg",
        page=1,
        outline=(),
        lines=lines,
        charges=(),
        written_total=None,
        computed_total=0,
        difference=None,
        verdict="unsure",
        probability_wrong=0.5,
        reason="",
        slip_number="0412",
    )
    return Report("GBP", (slip,), ())


@pytest.mark.parametrize(
    ("code", "price", "expected", "words"),
    [
        ("104238", 449, ("old price", -100), "that was the old price"),
        ("104-240", 300, ("price before the offer", 100), "without the offer"),
        ("104-238", 1250, ("neighbour's price", 1502), "Beech brush"),
        ("117-001", 620, ("neighbour's price", -510), "Tin mug"),
        ("104-238", 479, ("one digit off", -40), "one digit is off"),
        ("117-001", 785, ("digits swapped", -180), "two digits are swapped"),
        ("104-239", 125, ("point moved", -2250), "the point has moved"),
        ("104-239", 777, ("other price", -946), "no usual slip"),
    ],
)
def test_a_price_written_differently_is_explained_with_the_money_it_moves(
    prices: PriceList, code: str, price: int, expected: tuple[str, int], words: str
) -> None:
    (finding,) = check_prices(one_slip(Line(3, code, None, 2, price, 2 * price)), prices)
    assert (finding.kind, finding.money, finding.row, finding.name) == (*expected, 3, "0412")
    assert words in finding.message
    assert ("you would lose it" in finding.message) == (expected[1] < 0)


def test_right_prices_struck_out_lines_and_lines_without_code_are_left_alone(prices: PriceList) -> None:
    lines = (
        Line(1, "104 238", "lilac soap", 2, 499, 998),
        Line(2, "104-239", None, 1, 999, 999, struck_out=True),
        Line(3, None, "Lilac soap", 1, 100, 100),
        Line(4, "0042", None, 1, None, None),
    )
    assert check_prices(one_slip(*lines), prices) == ()


def test_an_unknown_code_names_the_code_it_may_be(prices: PriceList) -> None:
    (finding,) = check_prices(one_slip(Line(1, "104-288", None, 3, 499, 1497)), prices)
    assert finding.kind == "unknown code"
    assert "perhaps 104-238 (Lilac soap)" in finding.message
    assert finding.money == 0
    (finding,) = check_prices(one_slip(Line(1, "42", None, 1, 105, 105)), prices)
    assert finding.kind == "unknown code"  # a code that lost its zeros is not taken for its own
    assert finding.money is None
    (finding,) = check_prices(one_slip(Line(1, "999", "tin mug", 1, 700, 700)), prices)
    assert (finding.listed, finding.money) == (620, 80)


def test_words_that_belong_to_another_code_are_asked_about(prices: PriceList) -> None:
    (finding,) = check_prices(one_slip(Line(1, "117-001", "tin mug", 2, 875, 1750)), prices)
    assert finding.kind == "description and code disagree"
    assert finding.money == 2 * (875 - 620)
    assert "117-010" in finding.message


def test_an_offer_on_several_pieces_is_missed_only_where_the_line_total_leaves_it_out(tmp_path: Path) -> None:
    path = tmp_path / "spring.csv"
    path.write_text("code,description,price,offer\n104-238,Lilac soap,4.99,3 for 12.00\n")
    prices = read_price_list(path)
    soap = Line(1, "104-238", None, 4, 499, 1996)
    (finding,) = check_prices(one_slip(soap), prices)
    assert (finding.kind, finding.money) == ("offer left out", 1996 - 1200 - 499)
    assert check_prices(one_slip(replace(soap, line_total=1699)), prices) == ()
    assert check_prices(one_slip(replace(soap, quantity=3, unit_price=400, line_total=1200)), prices) == ()
    assert check_prices(one_slip(replace(soap, quantity=2, line_total=998)), prices) == ()
