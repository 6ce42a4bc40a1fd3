"""The search and the forward algorithm against brute force: every path through a tiny lattice, added up."""

import itertools
from collections import defaultdict

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formread.reading.automaton import ALPHABET, from_strings, unroll
from formread.reading.decode import mass, search, total_mass
from formread.reading.grammar import (
    COLUMN,
    NUMBER_KINDS,
    STRUCK,
    NumberKind,
    code_digits,
    grammar,
    graph,
    meanings,
    value_chain,
)
from formread.reading.lattice import QUIET, pack, shorten, stack, temper
from formread.record import Value

Floats = npt.NDArray[np.float64]


def lattice_of(seed: int, frames: int, symbols: str) -> Floats:
    """A random lattice in which only a blank and a few symbols are possible."""
    rng = np.random.default_rng(seed)
    lattice = np.zeros((frames, 1 + len(ALPHABET)))
    columns = [0, *(COLUMN[symbol] for symbol in symbols)]
    lattice[:, columns] = rng.dirichlet(np.ones(len(columns)), size=frames)
    return lattice


def every_string(lattice: Floats) -> dict[str, float]:
    """Add up all paths: collapse repeats, drop blanks (the definition of CTC)."""
    possible = np.flatnonzero(lattice.max(axis=0) > 0)
    strings: dict[str, float] = defaultdict(float)
    for path in itertools.product(possible, repeat=len(lattice)):
        text = "".join(ALPHABET[k - 1] for k, _ in itertools.groupby(path) if k)
        strings[text] += float(np.prod(lattice[np.arange(len(path)), list(path)]))
    return strings


lattices = st.builds(
    lattice_of,
    st.integers(0, 10_000),
    st.integers(1, 6),
    st.sampled_from(["49", "5.", "1-", "0p9", "/3", "~7"]),
)


@given(lattices)
@settings(max_examples=30)
def test_the_strings_of_a_lattice_sum_to_one(lattice: Floats) -> None:
    assert sum(every_string(lattice).values()) == pytest.approx(1.0)


@given(lattices, st.sampled_from(NUMBER_KINDS))
@settings(max_examples=60, deadline=None)
def test_the_total_is_the_sum_over_all_accepted_strings(lattice: Floats, kind: NumberKind) -> None:
    expected = sum(p * graph(kind).weight(text) for text, p in every_string(lattice).items())
    assert total_mass(lattice[None], grammar(kind))[0] == pytest.approx(expected)


@given(lattices, st.sampled_from(NUMBER_KINDS))
@settings(max_examples=60, deadline=None)
def test_a_wide_search_finds_every_accepted_string_with_its_probability(
    lattice: Floats, kind: NumberKind
) -> None:
    expected = {
        text: weighted
        for text, p in every_string(lattice).items()
        if (weighted := p * graph(kind).weight(text)) > 0
    }
    found = search(lattice[None], grammar(kind), 400)[0]
    assert {string.text: string.mass for string in found} == pytest.approx(expected)
    assert [string.mass for string in found] == sorted(expected.values(), reverse=True) or len(found) > 1


@given(lattices, st.sampled_from(NUMBER_KINDS))
@settings(max_examples=60, deadline=None)
def test_the_mass_of_a_value_is_the_sum_over_all_its_spellings(lattice: Floats, kind: NumberKind) -> None:
    expected: dict[Value, float] = defaultdict(float)
    for text, p in every_string(lattice).items():
        for value, share in meanings(text, kind):
            key = code_digits(value) if kind == "code" and isinstance(value, str) and value != '"' else value
            expected[key] += p * graph(kind).weight(text) * share
    for value, probability in expected.items():
        chain = value_chain(value, kind)
        assert chain is not None
        assert mass(lattice, chain) == pytest.approx(probability)


@given(st.integers(0, 10_000), st.text("1.9", min_size=0, max_size=4))
@settings(max_examples=40)
def test_the_forward_algorithm_is_brute_force_for_one_string(seed: int, text: str) -> None:
    lattice = lattice_of(seed, 6, "1.9")
    expected = every_string(lattice).get(text, 0.0)
    assert mass(lattice, unroll(from_strings([(text, 1.0)]), COLUMN)) == pytest.approx(expected)


def test_a_batch_reads_each_lattice_as_it_would_alone() -> None:
    several = [lattice_of(seed, 2 + seed % 5, "49.") for seed in range(12)]
    together = search(stack(several), grammar("amount"), 16)
    totals = total_mass(stack(several), grammar("amount"))
    for lattice, strings, total in zip(several, together, totals, strict=True):
        alone = search(lattice[None], grammar("amount"), 16)[0]
        assert [s.text for s in strings[:4]] == [s.text for s in alone[:4]]
        assert [s.mass for s in strings[:4]] == pytest.approx([s.mass for s in alone[:4]])
        assert total == pytest.approx(total_mass(lattice[None], grammar("amount"))[0])


def quiet_lattice(seed: int) -> Floats:
    """Peaks with long quiet stretches between, as trained CTC networks give them."""
    rng = np.random.default_rng(seed)
    frames = 30
    lattice = rng.random((frames, 1 + len(ALPHABET))) * QUIET / len(ALPHABET) / 2
    for at, symbol in ((6, "4"), (13, "."), (19, "9"), (21, "9")):
        lattice[at, COLUMN[symbol]] = 0.7 + 0.3 * rng.random()
        lattice[at, COLUMN["7"]] += 0.1 * rng.random()
    lattice[:, 0] = 0.0
    lattice[:, 0] = np.maximum(1.0 - lattice.sum(axis=1), 0.0)
    return np.asarray(lattice / lattice.sum(axis=1, keepdims=True))


@pytest.mark.parametrize("seed", range(5))
def test_shortening_and_packing_keep_what_is_probable(seed: int) -> None:
    lattice = quiet_lattice(seed)
    small = pack(shorten(lattice)).probabilities
    assert len(small) < len(lattice) / 2
    for value in (499, 99, 4, None, 799, 419, 49, 497):
        chain = value_chain(value, "amount")
        assert chain is not None
        assert mass(small, chain) == pytest.approx(mass(lattice, chain), rel=0.1, abs=2e-5)


def test_no_frames_at_all_are_an_empty_box() -> None:
    assert shorten(np.zeros((0, 1 + len(ALPHABET)))).tolist() == [[1.0, *[0.0] * len(ALPHABET)]]


def test_a_temperature_above_one_makes_a_lattice_less_sure() -> None:
    scores = np.log(quiet_lattice(0)).astype(np.float32)
    warm, plain = temper(scores, 2.0), temper(scores, 1.0)
    assert warm.sum(axis=1) == pytest.approx(np.ones(len(scores)))
    assert plain == pytest.approx(quiet_lattice(0), abs=1e-5)
    assert (warm.max(axis=1) <= plain.max(axis=1) + 1e-9).all()


def test_struck_out_is_a_string_like_any_other() -> None:
    lattice = lattice_of(3, 4, "~7")
    found = {string.text: string.mass for string in search(lattice[None], grammar("quantity"), 50)[0]}
    assert found[STRUCK] == pytest.approx(every_string(lattice)[STRUCK])
