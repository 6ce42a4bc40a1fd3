"""The pile: every photo read, in parallel, then every slip judged with the whole pile as evidence."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import groupby

from formread.arithmetic import NO_TERMS, Facts, Offer, PilePrices, SlipReadings, Terms, confirm, judge
from formread.arithmetic.astray import DOUBT, touched
from formread.arithmetic.priors import STANDARD, Priors
from formread.arithmetic.record import BoxRef, Judgement
from formread.codes import normalise_code
from formread.layout.design import SlipDesign
from formread.layout.record import Layout
from formread.pile.gather import PhotoFile
from formread.pile.leaning import leans_of
from formread.pile.learned import designs_of, taught_by
from formread.pile.photo import read_photo_file
from formread.pile.pool import pool_codes, pool_doubts, pool_layouts
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.roles import settle_roles
from formread.pile.twice import repeated
from formread.slips import Charge, Line, Problem, Report, Slip

TOTAL_READ = 0.5
"""A total read less surely than this testifies for no sum brought forward."""
SURE_LAYOUT = 0.5
"""A layout less probable than this is more likely wrong than right."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known beside the slips themselves.

    Attributes
    ----------
    prices, offers, descriptions
        What a price list says, by product code: minor units a piece, offers on several pieces, words.
    terms
        What the seller asks for delivery.
    pile_speaks
        Whether the slips of the pile testify for one another's prices and for sums brought forward.
    hand_speaks
        Whether a writer's habits, as the settled boxes of a slip show them, speak for its doubtful ones.
    priors
        How customers err, re-estimated from earlier evenings where there were any (``arithmetic.relearn``).
    """

    prices: Mapping[str, int] = field(default_factory=dict)
    offers: Mapping[str, Sequence[Offer]] = field(default_factory=dict)
    descriptions: Mapping[str, str] = field(default_factory=dict)
    terms: Terms = NO_TERMS
    pile_speaks: bool = True
    hand_speaks: bool = True
    priors: Priors = STANDARD


NOTHING = Known()


@dataclass(frozen=True, slots=True)
class Pile:
    """A whole run: the report, and for every slip of it what was read and how it was judged."""

    report: Report
    read: tuple[ReadSlip, ...]
    judgements: tuple[Judgement, ...]


def default_jobs() -> int:
    """Return how many processes to use: one per core that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def read_photos(
    files: Sequence[PhotoFile], jobs: int, designs: Sequence[SlipDesign] = ()
) -> Iterator[ReadPhoto]:
    """Read photos in `jobs` processes, in the order given, each as soon as it and those before it are done.

    Slips of designs that the first photos teach are named by them (:func:`formread.pile.learned.taught_by`). A photo that
    kills its process (out of memory) is tried again alone, and becomes a problem if it does so again; the others are
    not lost.
    """
    slips: list[ReadSlip] = []
    with _Processes(min(jobs, len(files))) as processes:
        for count, batch in groupby(enumerate(files), key=lambda one: taught_by(one[0])):
            learned = designs_of(slips) if count else ()
            read = partial(read_photo_file, designs=tuple(designs), learned=learned)
            for result in processes.read([file for _, file in batch], read):
                slips += result.slips
                yield result


class _Processes:
    """Processes that read photos, kept from one batch to the next; with one alone this process reads itself."""

    def __init__(self, jobs: int) -> None:
        self._jobs = jobs
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> "_Processes":
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _close(self) -> None:
        if self._pool is not None:
            self._pool.shutdown()
            self._pool = None

    def read(self, files: Sequence[PhotoFile], read: Callable[[PhotoFile], ReadPhoto]) -> Iterator[ReadPhoto]:
        """Read photos, in the order given."""
        if self._jobs <= 1:
            yield from map(read, files)
            return
        done = 0
        while done < len(files):
            try:
                self._pool = self._pool or _pool(self._jobs)
                for result in self._pool.map(read, files[done:]):
                    done += 1
                    yield result
            except BrokenProcessPool:
                self._close()
                yield _read_alone(files[done], read)
                done += 1


def _pool(jobs: int) -> ProcessPoolExecutor:
    # spawn: the same on every operating system, and the recogniser's threads do not survive a fork
    return ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn"))


def _read_alone(file: PhotoFile, read: Callable[[PhotoFile], ReadPhoto]) -> ReadPhoto:
    try:
        with _pool(1) as pool:
            return pool.submit(read, file).result()
    except BrokenProcessPool:
        message = (
            "Reading this photo used up the computer's memory. "
            "Photograph the slip again with a smaller picture size, or check it by hand."
        )
        return ReadPhoto((), (Problem(file.name, None, message),))


def check(
    files: Sequence[PhotoFile],
    *,
    currency: str = "GBP",
    known: Known = NOTHING,
    designs: Sequence[SlipDesign] = (),
    jobs: int = 1,
    progress: Callable[[ReadPhoto], None] = lambda _: None,
) -> Pile:
    """Read and judge a pile of photos.

    Parameters
    ----------
    files
        The photos.
    currency
        ISO 4217 code in which the amounts are written.
    known
        What is known beside the slips.
    designs
        Slip designs that were taught.
    jobs
        Processes to use.
    progress
        Called with each photo's result as it comes.
    """
    read: list[ReadSlip] = []
    problems: list[Problem] = []
    for result in read_photos(files, jobs, designs):
        progress(result)
        read += result.slips
        problems += result.problems
    pooled = pool_codes(settle_roles(pool_layouts(read)))
    again = repeated(pooled)
    kept = [place for place in range(len(pooled)) if place not in again]
    pile = judge_pile([pooled[place] for place in kept], problems, currency, known)
    slips = tuple(
        _also_in(slip, [pooled[later].photo for later, first in again.items() if first == place])
        for place, slip in zip(kept, pile.report.slips, strict=True)
    )
    return replace(pile, report=replace(pile.report, slips=slips))


def _also_in(slip: Slip, photos: Sequence[str]) -> Slip:
    """Say in a slip's reason that further photos show it, too."""
    if not photos:
        return slip
    said = f"The same slip is in {' and '.join(photos)} too; it counts once."
    return replace(slip, reason=f"{slip.reason} {said}".strip())


def judge_pile(
    read: Sequence[ReadSlip],
    problems: Sequence[Problem],
    currency: str,
    known: Known = NOTHING,
    confirmed: Mapping[int, Facts] | None = None,
) -> Pile:
    """Judge slips that were read, with the others' prices as evidence, and with how their pad's sums hold.

    Parameters
    ----------
    read, problems
        What the photos gave.
    known
        What is known beside the slips.
    confirmed
        What a person has confirmed on each slip, by its place in `read`.
    """
    facts = confirmed or {}
    readings = [confirm(slip.readings, facts.get(place, {})) for place, slip in enumerate(read)]
    pile = PilePrices(readings if known.pile_speaks else ())
    totals = _totals(readings if known.pile_speaks else ())

    def judged_slip(place: int, doubt: float) -> tuple[Slip, Judgement]:
        return judge_slip(
            read[place],
            facts.get(place, {}),
            pile.for_slip(readings[place]),
            known,
            [total for other, total in totals if other != place],
            doubt,
        )

    judged = [judged_slip(place, DOUBT) for place in range(len(read))]
    misfits = [judgement.misfit for _, judgement in judged]
    pooled = pool_doubts([slip.layout for slip in read], misfits)
    for place, doubt in enumerate(pooled if known.pile_speaks else ()):
        if touched(judged[place][1], doubt):
            judged[place] = judged_slip(place, doubt)
    slips, judgements = tuple(slip for slip, _ in judged), tuple(judgement for _, judgement in judged)
    return Pile(Report(currency, slips, tuple(problems)), tuple(read), judgements)


def judge_slip(
    read: ReadSlip,
    facts: Facts,
    learned: Mapping[str, int],
    known: Known = NOTHING,
    carried: Sequence[int] = (),
    doubt: float = DOUBT,
) -> tuple[Slip, Judgement]:
    """Judge one slip of a pile whose prices were learned before.

    Parameters
    ----------
    facts
        What a person has confirmed on this slip.
    learned
        What the other slips of the pile testify (:class:`formread.arithmetic.PilePrices`).
    known
        What is known beside the slips.
    carried
        Totals of the other slips, minor units: where a sum brought forward may be from.
    doubt
        How probably its boxes were found wrongly (:func:`formread.pile.pool.pool_doubts`).
    """
    readings = confirm(read.readings, facts)
    try:
        judgement = judge(
            readings,
            prices=known.prices,
            offers=known.offers,
            pile=learned,
            terms=known.terms,
            carried=carried,
            doubt=doubt,
            leans=leans_of(read.layout),
            hand=known.hand_speaks,
            priors=known.priors,
        )
    except Exception as error:  # whatever it was, the pile goes on
        judgement = _unjudged(error)
    judgement = _with_doubt(judgement, read.layout)
    return _slip(read, readings, judgement, known.descriptions), judgement


def _unjudged(error: Exception) -> Judgement:
    """What is said of a slip that the judge could not weigh: as of a blank one, and why."""
    said = f"formread stumbled over this slip ({type(error).__name__}: {error}). Check it by hand."
    return replace(judge(SlipReadings((), ())), reason=said)


def _totals(slips: Sequence[SlipReadings]) -> list[tuple[int, int]]:
    """What stands in the total of each slip, where it is readable: (place of the slip, minor units)."""
    found = []
    for place, slip in enumerate(slips):
        for total in slip.totals:
            if total.kind == "total" and total.reading.values:
                value, probability = total.reading.values[0]
                if isinstance(value, int) and probability > TOTAL_READ:
                    found.append((place, value))
    return found


def _with_doubt(judged: Judgement, layout: Layout) -> Judgement:
    """Pass on the layout's own doubt: where the columns are not sure, no sum of theirs accuses or clears anybody."""
    if layout.probability >= SURE_LAYOUT or judged.verdict == "unsure":
        return judged
    return replace(
        judged,
        verdict="unsure",
        slip_kind=None,
        reason="formread is not sure what the columns of this slip mean. Check it by hand, or photograph it again.",
    )


def _slip(read: ReadSlip, known: SlipReadings, judged: Judgement, descriptions: Mapping[str, str]) -> Slip:
    codes = {
        line.row: _code(line.code.candidates[0].text)
        for line in known.lines
        if line.code is not None and line.code.candidates
    }
    lines = tuple(
        Line(
            row=line.row,
            code=codes.get(line.row),
            description=descriptions.get(normalise_code(codes.get(line.row) or "")),
            quantity=line.quantity,
            unit_price=line.unit_price,
            line_total=line.line_total,
            struck_out=line.struck_out,
        )
        for line in judged.lines
    )
    return Slip(
        photo=read.photo,
        page=read.page,
        outline=read.outline,
        lines=lines,
        charges=tuple(Charge(charge.kind, charge.amount) for charge in judged.charges),
        written_total=judged.written_total,
        computed_total=judged.computed_total,
        difference=judged.difference,
        verdict=judged.verdict,
        probability_wrong=judged.probability_wrong,
        reason=judged.reason,
        slip_number=read.layout.serial_text,
        right_line_totals=tuple((line.row, line.right_total) for line in judged.lines if not line.struck_out),
        suspect_rows=tuple(line.row for line in judged.lines if line.probability_wrong > 0.5),
        ask=None if judged.ask is None else box_name(judged.ask),
        at_stake=judged.at_stake,
    )


def _code(text: str) -> str | None:
    return text or None


_FIELD_NAMES = {
    "code": "code",
    "quantity": "quantity",
    "unit_price": "unit price",
    "line_total": "line total",
    "struck_out": "crossed out or not",
    "goods": "goods total",
    "brought": "sum brought forward",
    "delivery": "delivery charge",
    "discount": "discount",
    "deposit": "deposit",
    "other": "extra charge",
    "total": "total",
}


def box_name(ref: BoxRef) -> str:
    """Name a box for a person: ``row 3, unit price``, ``total``."""
    name = _FIELD_NAMES[ref.role]
    return name if ref.row is None else f"row {ref.row}, {name}"
