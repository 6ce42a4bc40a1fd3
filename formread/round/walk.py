"""A proposed shortest walk, where the seller brings coordinates of the addresses.

The walk is found by PyVRP (MIT licence), a routing library, on great-circle distances: how far it is as the crow
flies. It knows no hedges, rivers or one-way streets, so it is a proposal and never the seller's own order.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

EARTH_RADIUS = 6_371_009.0
"""Metres, the mean radius R1 of the earth (International Union of Geodesy and Geophysics, from memory)."""

SEED = 7
_ITERATIONS = 300  # without a better walk; sixty doors are done in well under two seconds


def great_circle(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return metres between two points (latitude, longitude in degrees), by the haversine formula.

    R. W. Sinnott, "Virtues of the Haversine", Sky and Telescope 68 (1984), p. 159.
    """
    (a, b), (c, d) = (map(math.radians, one), map(math.radians, other))
    h = math.sin((c - a) / 2) ** 2 + math.cos(a) * math.cos(c) * math.sin((d - b) / 2) ** 2
    return 2 * EARTH_RADIUS * math.asin(min(1.0, math.sqrt(h)))


def distances(places: Sequence[tuple[float, float]]) -> npt.NDArray[np.int64]:
    """Return the (N, N) distances between places, in whole metres."""
    return np.array([[round(great_circle(one, other)) for other in places] for one in places], np.int64)


def shortest_round(matrix: npt.NDArray[np.int64], seed: int = SEED) -> tuple[tuple[int, ...], int]:
    """Propose the shortest way through all places and back to the first.

    Parameters
    ----------
    matrix
        (N, N) distances, whole numbers; place 0 is where the walk starts and ends.

    Returns
    -------
    order, length
        Places 1 to N - 1 in the order of the walk, and the length of the whole round.
    """
    count = len(matrix)
    if count <= 3:
        order = tuple(range(1, count))
        return order, length_of(order, matrix)
    import pyvrp
    from pyvrp.stop import NoImprovement

    model = pyvrp.Model()
    places = [model.add_location(0, 0) for _ in range(count)]
    depot = model.add_depot(places[0])
    for place in places[1:]:
        model.add_client(place)
    model.add_vehicle_type(1, start_depot=depot, end_depot=depot)
    for i in range(count):
        for j in range(count):
            if i != j:
                model.add_edge(places[i], places[j], distance=int(matrix[i, j]))
    result = model.solve(stop=NoImprovement(_ITERATIONS), seed=seed, display=False)
    (route,) = result.best.routes()
    order = tuple(visit.idx + 1 for visit in route.schedule() if visit.is_client())  # clients count from 0
    back = tuple(reversed(order))
    # Both ways round are equally long: the one that starts with the lower number, so that the answer is one.
    best = min(order, back) if (matrix == matrix.T).all() else order
    return best, length_of(best, matrix)


def length_of(order: Sequence[int], matrix: npt.NDArray[np.int64]) -> int:
    """Return the length of a round from place 0 through `order` and back."""
    stops = [0, *order, 0]
    return int(sum(matrix[one, other] for one, other in pairwise(stops)))
