"""What people write in a box, and what it means. The forms are common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.reading.automaton import ALPHABET, from_strings
from formread.reading.grammar import (
    NUMBER_KINDS,
    STRUCK,
    NumberKind,
    code_digits,
    forms,
    grammar,
    graph,
    meanings,
    parse,
    spellings,
)
from formread.record import DITTO, Value

NUMERIC: tuple[NumberKind, ...] = ("amount", "quantity", "pounds", "pence")
LARGEST = {"amount": 999_999, "quantity": 999, "pounds": 99_999, "pence": 99}


@pytest.mark.parametrize(
    ("text", "pence"),
    [
        ("4.99", 499),
        ("£4.99", 499),
        ("4-99", 499),
        ("4,99", 499),
        ("4:99", 499),
        ("4/99", 499),
        ("499", 499),
        ("99p", 99),
        (".99", 99),
        ("£.99", 99),
        ("0.99", 99),
        ("£5", 500),
        ("5", 500),
        ("5.00", 500),
        ("5-", 500),
        ("5.-", 500),
        ("5/-", 500),
        ("05.00", 500),
        ("12.5", 1250),
        ("1,250.00", 125_000),
        ("12,50", 1250),
        ("0.00", 0),
        ("0", 0),
        ("", None),
        ("-", None),
        ("£", None),
        (DITTO, DITTO),
    ],
)
def test_an_amount_means_what_a_seller_takes_it_for(text: str, pence: Value) -> None:
    assert parse(text, "amount") == pence


@pytest.mark.parametrize(
    ("text", "count"),
    [("3", 3), ("x3", 3), ("3x", 3), ("12-", 12), ("2/", 2), ("120", 120), ("", None), ("-", None), ("0", 0)],
)
def test_a_quantity_means_what_a_seller_takes_it_for(text: str, count: Value) -> None:
    assert parse(text, "quantity") == count


def test_three_digits_without_a_point_may_be_pounds_too() -> None:
    assert dict(meanings("499", "amount")) == {499: 0.85, 49_900: 0.15}


@pytest.mark.parametrize("text", ["4.9.9", "--4", "12345678", "p", "4£", "x3", "d", "n.dd"])
def test_what_nobody_writes_as_an_amount_is_refused(text: str) -> None:
    assert meanings(text, "amount") == ()
    with pytest.raises(ValueError, match="is not amount"):
        parse(text, "amount")


@pytest.mark.parametrize("kind", NUMBER_KINDS)
def test_struck_out_writing_is_accepted_and_means_no_value(kind: NumberKind) -> None:
    assert graph(kind).weight(STRUCK) > 0
    assert meanings(STRUCK, kind) == ()


@st.composite
def kinds_and_values(draw: st.DrawFn) -> tuple[NumberKind, int]:
    kind = draw(st.sampled_from(NUMERIC))
    return kind, draw(st.integers(0, LARGEST[kind]))


@given(kinds_and_values())
def test_every_spelling_of_a_value_means_that_value(asked: tuple[NumberKind, int]) -> None:
    kind, value = asked
    ways = spellings(value, kind)
    assert ways
    for text, weight in ways:
        share = dict(meanings(text, kind)).get(value, 0.0)
        assert share > 0, text
        # The weight is the form's in the grammar, times the share in which it means this value.
        assert weight == pytest.approx(graph(kind).weight(text) * share)


@given(kinds_and_values())
def test_the_commonest_spelling_of_a_value_parses_to_it(asked: tuple[NumberKind, int]) -> None:
    kind, value = asked
    text = max(spellings(value, kind), key=lambda way: way[1])[0]
    assert parse(text, kind) == value


@given(st.sampled_from(NUMBER_KINDS), st.text(st.sampled_from(ALPHABET), max_size=8))
def test_whatever_has_a_meaning_is_among_the_spellings_of_that_meaning(kind: NumberKind, text: str) -> None:
    found = meanings(text, kind)
    assert bool(found) == (graph(kind).weight(text) > 0 and text != STRUCK)
    assert sum(share for _, share in found) == pytest.approx(1.0 if found else 0.0)
    for value, share in found:
        separators = sum(not character.isdigit() for character in text)
        if kind == "code" and separators > 1:
            continue  # spellings lists codes with one separator at most
        assert dict(spellings(value, kind))[text] == pytest.approx(share * graph(kind).weight(text))


@given(st.from_regex(r"[0-9]{1,4}([-./][0-9]{1,4}){0,2}", fullmatch=True))
def test_a_code_is_its_digits(code: str) -> None:
    assert parse(code, "code") == code
    assert {code_digits(text) for text, _ in spellings(code, "code")} == {code_digits(code)}


@pytest.mark.parametrize("kind", NUMERIC)
def test_the_table_weighs_as_the_graph_does(kind: NumberKind) -> None:
    concrete = str.maketrans({"n": "7", "d": "3"})
    for form in forms(kind):
        assert graph(kind).weight(form.shape.translate(concrete)) == pytest.approx(form.weight)
        assert not form.scales or sum(share for _, share in form.scales) == pytest.approx(1.0)


@pytest.mark.parametrize("kind", NUMBER_KINDS)
def test_every_grammar_is_deterministic(kind: NumberKind) -> None:
    assert len(grammar(kind).final) == len(graph(kind).arcs) + 1  # tables() refuses two arcs with one symbol


@given(st.dictionaries(st.text("ab", max_size=5), st.floats(0.01, 1.0), min_size=1, max_size=12))
def test_a_graph_gives_back_the_weights_it_was_built_from(strings: dict[str, float]) -> None:
    built = from_strings(strings.items())
    for text, weight in strings.items():
        assert built.weight(text) == pytest.approx(weight)
    assert built.weight("abababab") == 0.0


@pytest.mark.parametrize("value", [-1, 10**13, "4.99"])
def test_a_value_that_nobody_writes_has_no_spelling(value: Value) -> None:
    assert spellings(value, "amount") == ()
