"""Price lists: forgiving about headings and spreadsheets, loud about nonsense, never losing a zero."""

from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.codes import normalise_code
from formread.errors import ListError
from formread.goods.price_list import Offer, learn_prices, read_price_list
from formread.goods.written import (
    carries_gs1_number,
    gs1_check_digit,
    neighbours_swapped,
    one_digit_off,
    parse_amount,
    parse_count,
    round_half_up,
)
from formread.money import CURRENCIES, format_money, format_plain
from formread.slips import Line, Report, Slip

GBP = CURRENCIES["GBP"]


def written(folder: Path, text: str, name: str = "prices.csv", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize(
    "text",
    [
        "code,description,price\n0042,Lilac soap,4.99\n",
        "Item code;Product;Price (£)\n0042;Lilac soap;4,99\n",
        "Ref No.\tItem\tUnit Price\n0042\tLilac soap\t£4.99\n",
        "sep=;\nCODE;DESC;PRICE EACH\n0042;Lilac soap;499p\n",
        "Spring list,,\nvalid from 1 March,,\nSKU,Title,Each\n\n0042,Lilac soap,£4.99\n",
        "price,code,description,was\n4.99,0042,Lilac soap,5.49\n",
        '"Code","Description","Price"\r\n"0042","Lilac soap","4.99"\r\n',
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_one_product_is_read_from_many_forms_of_csv(tmp_path: Path, text: str, encoding: str) -> None:
    prices = read_price_list(written(tmp_path, text, encoding=encoding))
    assert prices.prices == {"0042": 499}
    product = prices.find("0042")
    assert product is not None
    assert (product.code, product.description) == ("0042", "Lilac soap")


def test_codes_of_a_workbook_keep_the_zeros_that_are_shown(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Code", "Description", "Price"])
    sheet.append(["0042", "as text", 4.99])
    sheet.append([43, "as a number shown with zeros", 5])
    sheet.append([104238, "as a number shown with a dash", 12.5])
    sheet.append([7001, "as a plain number", 0.99])
    sheet["A3"].number_format = "0000"
    sheet["A4"].number_format = "000-000"
    book.save(tmp_path / "prices.xlsx")
    prices = read_price_list(tmp_path / "prices.xlsx")
    assert [product.code for product in prices.products.values()] == ["0042", "0043", "104-238", "7001"]
    assert prices.prices == {"0042": 499, "0043": 500, "104238": 1250, "7001": 99}


def test_every_row_that_can_not_be_true_is_named_at_once(tmp_path: Path) -> None:
    text = (
        "code,description,price\n"
        "0042,soap,4.99\n"
        "0043,brush,free\n"
        ",no code,1.00\n"
        "0044,comb,-2.00\n"
        "0042,soap,5.99\n"
        "1.04E+05,cloth,3.00\n"
        "0045,bowl,0\n"
        "0046,mug,4.999\n"
        "0047,cup,\n"
    )
    with pytest.raises(ListError) as caught:
        read_price_list(written(tmp_path, text))
    message = str(caught.value)
    assert "8 things need mending" in message
    for row, words in {
        3: "'free' is not an amount",
        4: "there is no code",
        5: "negative",
        6: "stands in row 2 too",
        7: "format the column as text",
        8: "the price is nothing",
        9: "more decimals",
        10: "there is no price",
    }.items():
        assert any(f"row {row}:" in line and words in line for line in message.splitlines()), row


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"name,amount\nsoap,4.99\n", "no column is headed 'code' or 'price'"),
        (b"code,price\n", "no products under them"),
        (b"code,price,unit price\n1,2,3\n", "says the same as an earlier column"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 rest", "old .xls workbook"),
        (b"PK\x03\x04 broken", "no workbook that can be read"),
        (b"\x00\x01\x02\x03", "neither CSV text nor"),
    ],
)
def test_a_file_that_is_no_price_list_is_refused_in_plain_words(
    tmp_path: Path, content: bytes, words: str
) -> None:
    path = tmp_path / "prices.csv"
    path.write_bytes(content)
    with pytest.raises(ListError, match=words):
        read_price_list(path)


def test_a_missing_price_list_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(ListError, match=r"nowhere\.csv can't be opened"):
        read_price_list(tmp_path / "nowhere.csv")


def test_headings_inside_the_list_and_repeated_rows_stop_nothing(tmp_path: Path) -> None:
    text = "code,price\nBathroom,\n10-1,4.99\n,\nKitchen,\n101,4.99\n10-2,1.00\n"
    prices = read_price_list(written(tmp_path, text))
    assert prices.prices == {"101": 499, "102": 100}
    assert prices.remarks == ("row 6: the code 101 stands in row 3 already",)


def test_an_offer_price_holds_and_an_offer_in_words_is_kept(tmp_path: Path) -> None:
    text = "code,price,offer,size,place\n1,5.00,4.00,small,B2\n2,5.00,3 for 10.00,2.5,\n3,5.00,,,\n"
    prices = read_price_list(written(tmp_path, text))
    one, two, three = prices.products.values()
    assert (one.price, one.full_price, one.offer, one.size, one.place) == (400, 500, None, 1.0, "B2")
    assert (two.price, two.full_price, two.offer, two.size) == (500, 500, "3 for 10.00", 2.5)
    assert (three.price, three.size) == (500, None)
    with pytest.raises(ListError, match=r"row 2: the offer price 6\.00 is more than the price £5\.00"):
        read_price_list(written(tmp_path, "code,price,offer\n1,5.00,6.00\n"))


def test_a_code_of_a_gs1_list_whose_check_digit_fails_is_remarked(tmp_path: Path) -> None:
    good = [
        f"{stem}{gs1_check_digit(stem)}" for stem in ("590123412345", "400638133393", "123456789012", "50")
    ]
    codes = [
        *good[:3],
        *(f"40000000000{n}"[:12] + str(gs1_check_digit(f"40000000000{n}"[:12])) for n in range(4)),
    ]
    bad = codes[-1][:-1] + str((int(codes[-1][-1]) + 1) % 10)
    rows = "".join(f"{code},1.00\n" for code in [*codes[:-1], bad])
    prices = read_price_list(written(tmp_path, "code,price\n" + rows))
    assert prices.remarks == (f"row 8: the check digit of {bad} does not hold; a digit may be mistyped",)


@pytest.mark.parametrize(
    # Published worked examples: GS1 check digit page (6291041500213; 0 36000 29145 2 is the UPC of the
    # Wikipedia article "Universal Product Code"); 73513537 is its GTIN-8 example, 4006381333931 its EAN-13.
    "number",
    ["6291041500213", "036000291452", "73513537", "4006381333931", "5901234123457"],
)
def test_check_digits_of_published_examples_hold(number: str) -> None:
    assert carries_gs1_number(number)
    assert gs1_check_digit(number[:-1]) == int(number[-1])


@given(st.text("0123456789", min_size=13, max_size=13), st.integers(0, 12), st.integers(1, 9))
def test_a_check_digit_finds_every_single_wrong_digit(digits: str, place: int, shift: int) -> None:
    """GS1 General Specifications 7.9: weights 1 and 3 are both coprime to ten."""
    number = digits + str(gs1_check_digit(digits))
    wrong = number[:place] + str((int(number[place]) + shift) % 10) + number[place + 1 :]
    assert carries_gs1_number(number)
    assert not carries_gs1_number(wrong)


@given(st.integers(0, 10**9), st.sampled_from(sorted(CURRENCIES)))
def test_any_amount_survives_being_written_and_read(amount: int, code: str) -> None:
    unit = CURRENCIES[code]
    assert parse_amount(format_plain(amount, unit), unit) == amount
    assert parse_amount(format_money(amount, unit), unit) == amount
    if unit.digits:
        assert parse_amount(format_plain(amount, unit).replace(".", ","), unit) == amount


@given(st.integers(1000_00, 10**9))
def test_thousands_are_read_in_the_english_and_the_continental_way(amount: int) -> None:
    english = f"{amount // 100:,}.{amount % 100:02d}"
    continental = english.translate(str.maketrans(",.", ".,"))
    assert parse_amount(english, GBP) == amount
    assert parse_amount(continental, GBP) == amount


def test_amounts_follow_the_digits_of_the_currency() -> None:
    """ISO 4217: JPY has no minor unit, BHD three digits."""
    assert parse_amount("¥1,500", CURRENCIES["JPY"]) == 1500
    assert parse_amount("1.500", CURRENCIES["BHD"]) == 1500
    assert parse_amount("1,500", GBP) == 150_000
    with pytest.raises(ValueError, match="more decimals"):
        parse_amount("1.5", CURRENCIES["JPY"])


@pytest.mark.parametrize("text", ["", "free", "1.2.3", "1,23.4,5", "4.99.", "12a", "1..2", "p"])
def test_nonsense_is_no_amount(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not an amount|more decimals"):
        parse_amount(text, GBP)


@pytest.mark.parametrize(("text", "count"), [("3", 3), ("3.0", 3), ("x3", 3), ("3 pcs", 3), ("012", 12)])
def test_counts_are_read_as_lists_write_them(text: str, count: int) -> None:
    assert parse_count(text) == count


@given(st.integers(-(10**12), 10**12), st.integers(1, 10**6))
def test_rounding_is_half_up_as_the_decimal_module_does_it(numerator: int, denominator: int) -> None:
    """Python's decimal.ROUND_HALF_UP is the reference (General Decimal Arithmetic Specification 1.70)."""
    import decimal

    with decimal.localcontext(decimal.Context(prec=60)):
        exact = decimal.Decimal(numerator) / decimal.Decimal(denominator)
        assert round_half_up(numerator, denominator) == int(exact.quantize(0, rounding=decimal.ROUND_HALF_UP))


@given(st.text("0123456789", min_size=2, max_size=8), st.data())
def test_one_digit_off_and_swapped_neighbours_are_told_apart(digits: str, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(digits) - 2))
    shifted = digits[:place] + str((int(digits[place]) + 1) % 10) + digits[place + 1 :]
    assert one_digit_off(digits, shifted)
    assert not neighbours_swapped(digits, shifted)
    swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
    assert neighbours_swapped(digits, swapped) == (digits[place] != digits[place + 1])


def test_codes_differ_by_their_zeros_and_not_by_their_spacing() -> None:
    assert normalise_code(" 104-238") == normalise_code("104 238") == "104238"
    assert normalise_code("0042") != normalise_code("42")


@pytest.mark.parametrize(
    ("words", "pieces", "amount"),
    [
        ("3 for 10.00", 3, 1000),
        ("3 for £10", 3, 1000),
        ("any 2 for 8", 2, 800),
        ("3 for 2", 3, 1000),
        ("three for the price of two", 3, 1000),
        ("buy one get one free", 2, 500),
        ("Buy 2, get 1 free!", 3, 1000),
    ],
)
def test_an_offer_on_several_pieces_is_understood(
    tmp_path: Path, words: str, pieces: int, amount: int
) -> None:
    prices = read_price_list(written(tmp_path, f'code,price,offer\n1,5.00,"{words}"\n2,5.00,\n'))
    assert prices.offers == {"1": (Offer(pieces, amount),)}
    one = prices.products["1"]
    assert [one.cost(n) for n in (1, pieces, pieces + 1)] == [500, amount, amount + 500]


@pytest.mark.parametrize("words", ["3 for 16.00", "half price in May", "1 for 4.00", "2 for the garden"])
def test_an_offer_in_words_that_say_no_price_is_only_shown(tmp_path: Path, words: str) -> None:
    prices = read_price_list(written(tmp_path, f"code,price,offer\n1,5.00,{words}\n"))
    assert prices.offers == {}
    assert prices.products["1"].offer == words


def pile(*slips: list[tuple[str, int]]) -> Report:
    return Report(
        "GBP",
        tuple(
            Slip(
                photo=f"{number}.jpg",
                page=1,
                outline=(),
                lines=tuple(
                    Line(row, code, "Soap", 1, price, price) for row, (code, price) in enumerate(lines, 1)
                ),
                charges=(),
                written_total=None,
                computed_total=sum(price for _, price in lines),
                difference=None,
                verdict="unsure",
                probability_wrong=0.5,
                reason="",
            )
            for number, lines in enumerate(slips)
        ),
        (),
    )


def test_prices_are_learned_from_slips_that_agree_and_only_from_those() -> None:
    report = pile(
        [("1", 100), ("2", 200), ("3", 300), ("4", 400)],
        [("1", 100), ("2", 200), ("3", 350), ("4", 400)],
        [("1", 100), ("2", 250), ("5", 500), ("5", 500)],
    )
    learned = learn_prices(report)
    assert learned.learned
    assert learned.prices == {"1": 100, "2": 200, "4": 400}
