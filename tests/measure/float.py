"""The float for 60 drops: how long it takes, and whether change really can be given in 99 of 100 fresh rounds.

``python -m tests.measure.float``

Data: rounds of 60 invented amounts due (log-normal around 18.00, seeds named), the usual table of payments.
"Fresh" rounds are drawn with a seed that the search never uses. Intervals are Wilson's at 95 %.
"""

import time

import numpy as np

from formread.round.coins import cash_of
from formread.round.float import Round, float_for_twenties, smallest_float
from formread.round.payments import usual_behaviours
from tests.measure.delivery_notes import wilson

FRESH, BATCH = 100_000, 20_000


def main() -> None:
    """Print one row for each round."""
    cash = cash_of("GBP")
    ways = usual_behaviours(cash)
    print("seed  float for 99 %   all twenties   seconds (CPU)   change given at every door of fresh rounds")
    for seed in range(5):
        rng = np.random.default_rng([2026, seed])
        dues = [int(due) for due in np.clip(rng.lognormal(7.5, 0.6, 60), 150, 12_000)]
        begin, cpu = time.perf_counter(), time.process_time()
        found = smallest_float(dues, ways, cash)
        wall, cpu = time.perf_counter() - begin, time.process_time() - cpu
        play = Round(dues, ways, cash)
        purse = np.array([[found.pieces.get(value, 0)] for value in play.values], np.int32)
        good = 0
        for batch in range(FRESH // BATCH):
            drawn = play.sample(BATCH, (987_654, seed, batch))
            good += int(play.play(np.repeat(purse, BATCH, axis=1), drawn).sum())
        twenties = float_for_twenties(dues, cash).value
        print(
            f"{seed:4d}  {found.value / 100:14.2f} {twenties / 100:14.2f} {wall:9.2f} ({cpu:.2f})   "
            f"{wilson(good, FRESH)}",
            flush=True,
        )


if __name__ == "__main__":
    main()
