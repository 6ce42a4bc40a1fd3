"""Addresses, streets in walking order, and the proposed shortest walk."""

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from formread.errors import ListError
from formread.goods.table import read_text_rows
from formread.round.addresses import Address, parse_address, street_key
from formread.round.streets import StreetList, answered, read_streets, streets_csv, streets_from, streets_of
from formread.round.walk import distances, great_circle, length_of, shortest_round


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Edie Larkwhistle, 66 Bobbin Terrace, Little Haspen", ("Bobbin Terrace", 66, "", "", "")),
        ("Mr Oddingway, 12a Hasp Ln, Quincebury", ("Hasp Ln", 12, "a", "", "")),
        ("Mr Oddingway, 12 A Hasp Lane", ("Hasp Lane", 12, "a", "", "")),
        ("Ms Roe, Flat 3, 12 Hasp Lane", ("Hasp Lane", 12, "", "", "3")),
        ("Ms Roe, Flat 2B 7 Hasp Lane", ("Hasp Lane", 7, "", "", "2B")),
        ("Ms Roe, 12/3 Hasp Lane", ("Hasp Lane", 12, "", "", "3")),
        ("Ms Roe, Rose Cottage, Hasp Lane, Quincebury", ("Hasp Lane", None, "", "Rose Cottage", "")),
        ("Ms Roe\nRose Cottage\n4 Hasp Lane", ("Hasp Lane", 4, "", "Rose Cottage", "")),
        ("Ms Roe, No. 9, Hasp Lane", ("Hasp Lane", 9, "", "", "")),
        ("14 Hasp Lane", ("Hasp Lane", 14, "", "", "")),
        ("Ms Roe, 12 Hasp Lane, Flat 2, Quincebury", ("Hasp Lane", 12, "", "", "2")),
    ],
)
def test_an_address_is_taken_apart_as_people_write_it(
    text: str, expected: tuple[str, int | None, str, str, str]
) -> None:
    """Hand-worked addresses; the forms are common practice, no source."""
    found = parse_address(text)
    assert (found.street, found.number, found.suffix, found.house, found.flat) == expected


def test_streets_are_one_however_they_are_shortened() -> None:
    assert street_key("HASP LN.") == street_key("Hasp Lane")
    assert street_key("St Agnes Rd") == "st agnes road"  # the saint stays a saint
    assert street_key("Old Quince St") == street_key("old quince street")


WALK = """street,side,way,houses
Hasp Lane,odd,up,Rose Cottage after 3
Tinder Lane,,odd up even down,The Forge first
Hasp Lane,even,down,
Pottle Hill,,,
"""


@pytest.fixture(name="streets")
def streets_fixture(tmp_path: Path) -> StreetList:
    path = tmp_path / "streets.csv"
    path.write_text(WALK)
    return read_streets(path)


def test_doors_come_in_the_order_in_which_the_seller_walks(streets: StreetList) -> None:
    """Worked by hand: up the odd side of Hasp Lane, round Tinder Lane, down the even side, then Pottle Hill."""
    doors = [
        "1 Hasp Lane", "3 Hasp Lane", "3a Hasp Lane", "Rose Cottage, Hasp Lane", "Flat 1, 5 Hasp Ln",
        "Flat 2, 5 Hasp Lane", "Flat 10, 5 Hasp Lane", "The Forge, Tinder Lane", "1 Tinder Lane",
        "11 Tinder Lane", "12 Tinder Lane", "2 Tinder Lane", "10 Hasp Lane", "4 Hasp Lane", "1 Pottle Hill",
        "2 Pottle Hill", "3 Pottle Hill",
    ]  # fmt: skip
    # Rose Cottage stands after number 3, before 3a's neighbour 5: behind 3 itself.
    doors[2], doors[3] = doors[3], doors[2]
    addresses = [parse_address(f"Somebody, {door}") for door in doors]
    placed = [streets.place(address) for address in addresses]
    assert all(one.question is None for one in placed)
    assert [one.place for one in placed] == sorted(one.place for one in placed)
    assert len({one.place for one in placed}) == len(doors)


def test_what_the_list_does_not_know_comes_last_and_is_asked_about(streets: StreetList) -> None:
    new = streets.place(parse_address("A, 5 Sorrel Close"))
    assert new.question is not None
    assert "not in streets.csv" in new.question.text
    misspelt = streets.place(parse_address("A, 5 Tindr Lane"))
    assert misspelt.question is not None
    assert "taken for Tinder Lane" in misspelt.question.text
    unknown_house = streets.place(parse_address("A, Old Mill, Pottle Hill"))
    assert unknown_house.question is not None
    assert streets.place(parse_address("A, 7 Pottle Hill")).place < unknown_house.place < new.place
    assert misspelt.place < streets.place(parse_address("A, 2 Hasp Lane")).place


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("street,side\nHasp Lane,left\n", "side 'left' is not odd"),
        ("street,way\nHasp Lane,sideways\n", "way 'sideways' is not known"),
        ("street,side,way\nHasp Lane,odd,odd up even down\n", "holds the odd side only"),
        ("street,houses\nHasp Lane,Rose Cottage\n", "does not say where the house stands"),
        ("street,side\n,odd\n", "there is no street"),
    ],
)
def test_a_street_list_that_makes_no_sense_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "streets.csv"
    path.write_text(text)
    with pytest.raises(ListError, match=words):
        read_streets(path)


@given(st.lists(st.tuples(st.sampled_from(["Hasp Lane", "Tinder Lane"]), st.integers(1, 40)), max_size=12))
def test_up_one_side_and_down_the_other_crosses_each_street_once(doors: list[tuple[str, int]]) -> None:
    addresses = [Address("", street, number) for street, number in doors]
    walk = streets_of(addresses)
    ordered = sorted(addresses, key=lambda address: walk.place(address).place)
    for _, group in itertools.groupby(ordered, key=lambda address: address.street):
        numbers = [address.number or 0 for address in group]
        odd = [number for number in numbers if number % 2]
        assert numbers == sorted(odd) + sorted(set_of(numbers, odd), reverse=True)


def set_of(numbers: list[int], odd: list[int]) -> list[int]:
    return [number for number in numbers if number not in odd]


BURMA14 = (
    (16.47, 96.10), (16.47, 94.44), (20.09, 92.54), (22.39, 93.37), (25.23, 97.24), (22.00, 96.05),
    (20.47, 97.02), (17.20, 96.29), (16.30, 97.38), (14.05, 98.12), (16.53, 97.38), (21.52, 95.59),
    (19.41, 97.13), (20.09, 94.55),
)  # fmt: skip
ULYSSES16 = (
    (38.24, 20.42), (39.57, 26.15), (40.56, 25.32), (36.26, 23.12), (33.48, 10.54), (37.56, 12.19),
    (38.42, 13.11), (37.52, 20.44), (41.23, 9.10), (41.17, 13.05), (36.08, -5.21), (38.47, 15.13),
    (38.15, 15.35), (37.51, 15.17), (35.49, 14.32), (39.36, 19.56),
)  # fmt: skip


def tsplib_geo(places: tuple[tuple[float, float], ...]) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """TSPLIB's GEO distance: degrees and minutes, pi cut to 3.141592, radius 6378.388 km (Reinelt 1995)."""

    def radians(value: float) -> float:
        degrees = int(value)
        return 3.141592 * (degrees + 5.0 * (value - degrees) / 3.0) / 180.0

    def distance(one: tuple[float, float], other: tuple[float, float]) -> int:
        (a, b), (c, d) = ((radians(x), radians(y)) for x, y in (one, other))
        q1, q2, q3 = math.cos(b - d), math.cos(a - c), math.cos(a + c)
        return int(6378.388 * math.acos(0.5 * ((1.0 + q1) * q2 - (1.0 - q1) * q3)) + 1.0)

    return np.array(
        [[0 if i == j else distance(p, q) for j, q in enumerate(places)] for i, p in enumerate(places)],
        np.int64,
    )


@pytest.mark.parametrize(("places", "published"), [(BURMA14, 3323), (ULYSSES16, 6859)])
def test_the_walk_is_as_short_as_the_published_best(
    places: tuple[tuple[float, float], ...], published: int
) -> None:
    """Instances burma14 and ulysses16 of TSPLIB (Reinelt, ORSA Journal on Computing 3, 1991) and their published
    optimal lengths; coordinates and lengths from memory, and they confirm one another.
    """
    matrix = tsplib_geo(places)
    order, length = shortest_round(matrix)
    assert sorted(order) == list(range(1, len(places)))
    assert length == length_of(order, matrix) == published


def exact(matrix: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> int:
    """The shortest round by integer programming (SciPy's HiGHS), cutting off subtours until none is left."""
    count = len(matrix)
    arcs = [(i, j) for i in range(count) for j in range(count) if i != j]
    cost = np.array([matrix[i, j] for i, j in arcs])
    rows = [[float(a == i) for a, _ in arcs] for i in range(count)]
    rows += [[float(b == i) for _, b in arcs] for i in range(count)]
    low, high = [1.0] * len(rows), [1.0] * len(rows)
    while True:
        found = milp(
            cost, constraints=LinearConstraint(np.array(rows), low, high), integrality=np.ones(len(arcs)),
            bounds=Bounds(0, 1),
        )  # fmt: skip
        following = {i: j for (i, j), taken in zip(arcs, found.x, strict=True) if taken > 0.5}
        tour = [0]
        while following[tour[-1]] != 0:
            tour.append(following[tour[-1]])
        if len(tour) == count:
            return round(float(found.fun))
        inside = set(tour)
        rows.append([float(i in inside and j in inside) for i, j in arcs])
        low.append(-np.inf)
        high.append(len(tour) - 1.0)


@settings(max_examples=5, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 80), st.integers(0, 80)), min_size=4, max_size=9, unique=True))
def test_small_walks_are_the_exact_ones(places: list[tuple[int, int]]) -> None:
    """Against SciPy's integer programming (HiGHS), which proves its answer."""
    matrix = distances([(54 + a / 10_000, -2 + b / 10_000) for a, b in places])
    assert shortest_round(matrix)[1] == exact(matrix)


def test_a_degree_along_the_equator_is_a_ninetieth_of_a_quarter_of_the_earth() -> None:
    assert great_circle((0, 0), (0, 1)) == pytest.approx(2 * math.pi * 6_371_009 / 360)
    assert great_circle((10, 20), (10, 20)) == 0


ADDRESSES = st.builds(
    parse_address,
    st.sampled_from(
        [
            "A, 5 Sorrel Close", "A, 5 Tindr Lane", "A, Old Mill, Pottle Hill", "A, 8 Quoin Row",
            "A, 8a Quoin Row", "A, Old Mill, Hasp Lane", "A, 3 Gorse Bank", "A, The Barn, Quoin Row",
        ]
    ),
)  # fmt: skip


@settings(max_examples=30)
@given(st.lists(ADDRESSES, max_size=6), st.sampled_from(["first", "Tinder Lane", "after Pottle Hill."]))
def test_nobody_is_asked_twice_and_the_answers_stay_in_the_written_list(
    addresses: list[Address], after: str
) -> None:
    walk = streets_from("streets.csv", read_text_rows("streets.csv", WALK.encode()))
    for address in addresses:
        for _ in range(2):  # a house with a name in a new street: first the street, then the house
            question = walk.place(address).question
            if question:
                answer = {"house": "2", "spelling": "yes"}.get(question.kind, after)
                walk = answered(walk, address, question, answer)
    again = streets_from("streets.csv", read_text_rows("streets.csv", streets_csv(walk).encode()))
    assert again.legs == walk.legs
    for address in addresses:
        assert again.place(address).question is None
        assert again.place(address) == walk.place(address)


def test_an_answer_puts_the_street_where_it_was_said(streets: StreetList) -> None:
    new = parse_address("A, 5 Sorrel Close")
    question = streets.place(new).question
    assert question is not None
    walk = answered(streets, new, question, "after Tinder Lane")
    assert [leg.street for leg in walk.legs] == [
        "Hasp Lane", "Tinder Lane", "Sorrel Close", "Hasp Lane", "Pottle Hill",
    ]  # fmt: skip
    with pytest.raises(ValueError, match="no street of the walk"):
        answered(streets, new, question, "Nowhere Street")
    mill = parse_address("A, Old Mill, Pottle Hill")
    asked = streets.place(mill).question
    assert asked is not None
    with pytest.raises(ValueError, match="no house number"):
        answered(streets, mill, asked, "by the church")
    placed = answered(streets, mill, asked, "2").place(mill).place
    assert streets.place(parse_address("A, 2 Pottle Hill")).place < placed
    assert placed < streets.place(parse_address("A, 3 Pottle Hill")).place
