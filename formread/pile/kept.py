"""Piles that are kept: photos come in, answers are given and taken back, and every judgement stays current.

The store holds the state; here is what follows from it. An answer is judged at once from the kept readings, no
photo is read again. What one slip's prices say about the others follows in a second step (:meth:`Piles.refresh`),
so that an answer never waits for the whole pile.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, cast, get_args

import cv2
import numpy as np

from formread.arithmetic import BoxRef, Facts, PilePrices, confirm
from formread.arithmetic.astray import DOUBT, touched
from formread.arithmetic.record import BoxRole
from formread.layout.design import SlipDesign
from formread.layout.record import Box, Layout, Rectangle
from formread.pile.codec import decode, encode
from formread.pile.gather import PhotoFile
from formread.pile.learned import designs_of, taught_by
from formread.pile.pool import pool_doubts, pool_layouts
from formread.pile.record import Outcome, ReadPhoto, ReadSlip
from formread.pile.roles import settle_roles
from formread.pile.run import NOTHING, Known, judge_slip
from formread.pile.store import Answer, NewSlip, PhotoRow, SlipRow, Store
from formread.record import Value
from formread.slips import Problem, Report, Slip

SMALL_WIDTH: Final = 520
"""Pixels across a slip's small picture: sharp on a phone, 30 kB."""
_SMALL_QUALITY: Final = 72

DOUBTED_ALIKE: Final = 0.2
"""Doubts of a pad that differ by this share of them are alike: no answer is judged again for less."""

HAND, NUMBER, CUSTOMER = "hand", "number", "customer"
"""What a person can answer besides what stands in a box: the whole slip, its number, who ordered."""


@dataclass(frozen=True, slots=True)
class KeptSlip:
    """A slip of a kept pile with its numbers in the store."""

    id: int
    photo: int
    outcome: Outcome

    @property
    def slip(self) -> Slip:
        """The slip as it goes out."""
        return self.outcome.slip

    @property
    def open(self) -> bool:
        """Whether it waits for a person."""
        return self.slip.verdict == "unsure" and not self.outcome.seen


def box_key(ref: BoxRef) -> str:
    """Name a box for the store: ``3.unit_price`` in a row, ``delivery.0`` in the totals block."""
    return f"{ref.role}.{ref.nth}" if ref.row is None else f"{ref.row}.{ref.role}"


def box_ref(key: str) -> BoxRef | None:
    """Read :func:`box_key` back; None where it names no box."""
    first, _, last = key.partition(".")
    if first.isascii() and first.isdecimal() and last in get_args(BoxRole):
        return BoxRef(cast(BoxRole, last), int(first))
    if last.isascii() and last.isdecimal() and first in get_args(BoxRole):
        return BoxRef(cast(BoxRole, first), nth=int(last))
    return None


def place_of(layout: Layout, ref: BoxRef) -> Rectangle | None:
    """Where a box stands on the sheet, both halves of it; None where the design has no such box."""
    box: Box | None = None
    if ref.row is None:
        boxes = [total.box for total in layout.totals if total.role == ref.role]
        box = boxes[ref.nth] if ref.nth < len(boxes) else None
    else:
        row = next((row for row in layout.rows if row.number == ref.row), None)
        if row is not None and ref.role == "struck_out":
            places = [box.rectangle for _, box in row.boxes]
            return _around(places) if places else None
        if row is not None:
            box = next((box for role, box in row.boxes if role == ref.role), None)
    if box is None:
        return None
    return _around([box.rectangle, *([box.pence] if box.pence else [])])


def _around(places: Sequence[Rectangle]) -> Rectangle:
    return Rectangle(
        min(place.left for place in places),
        min(place.top for place in places),
        max(place.right for place in places),
        max(place.bottom for place in places),
    )


def facts_of(answers: Sequence[Answer]) -> dict[BoxRef, Value]:
    """What the answers say about boxes; a later answer replaces an earlier one."""
    found: dict[BoxRef, Value] = {}
    for answer in answers:
        ref = box_ref(answer.box)
        if ref is not None:
            found[ref] = answer.value
    return found


class Piles:
    """Everything that can be done with the kept piles; safe to use from several threads.

    Parameters
    ----------
    known
        Gives what is known beside the slips of a pile: prices, terms, rates of error.
    """

    def __init__(self, store: Store, known: Callable[[int], Known] = lambda _: NOTHING) -> None:
        self.store = store
        self._known = known
        self._lock = threading.RLock()
        self._readings: dict[int, ReadSlip] = {}
        self._settled: dict[int, frozenset[int]] = {}
        self._learned: dict[int, tuple[tuple[int, ...], tuple[SlipDesign, ...]]] = {}

    # What stands in a pile

    def slips(self, pile: int) -> list[KeptSlip]:
        """The slips of a pile in the order of their photos."""
        return [_kept(row) for row in self.store.slips(pile)]

    def slip(self, slip: int) -> KeptSlip | None:
        """One slip."""
        row = self.store.slip(slip)
        return None if row is None else _kept(row)

    def problems(self, pile: int) -> list[tuple[PhotoRow, Problem]]:
        """The problems of a pile with their photos."""
        return [
            (photo, problem)
            for photo in self.store.photos(pile)
            if photo.problems is not None
            for problem in decode(photo.problems, tuple)
        ]

    def report(self, pile: int) -> Report:
        """The pile as it goes out: the result file in memory."""
        row = self.store.pile(pile)
        slips = tuple(kept.slip for kept in self.slips(pile))
        return Report(row.currency if row else "GBP", slips, tuple(said for _, said in self.problems(pile)))

    def reading(self, slip: int) -> ReadSlip | None:
        """What was read on a slip, without its picture."""
        with self._lock:
            known = self._readings.get(slip)
            if known is None:
                data = self.store.reading(slip)
                if data is None:
                    return None
                known = self._readings[slip] = decode(data, ReadSlip)
            return known

    # Photos

    def keep_read(self, photo: PhotoRow, path: Path, read: ReadPhoto) -> bool:
        """Keep what a photo gave; False when the photo is gone or was taken again meanwhile."""
        slips, known = [], self._known(photo.pile)
        for one in read.slips:
            named = replace(one, photo=photo.name, sheet_jpeg=b"")
            outcome = _outcome(named, (), {}, known, DOUBT)
            slips.append(
                NewSlip(encode(named), encode(outcome), one.sheet_jpeg, small_picture(one.sheet_jpeg))
            )
        problems = tuple(replace(problem, photo=photo.name) for problem in read.problems)
        kept = self.store.keep_read(photo.id, path, slips, encode(problems) if problems else None)
        return kept is not None

    def can_be_read(self, photo: PhotoRow) -> bool:
        """Say whether a photo can be read: all those that teach the designs it is read with were."""
        return all(one.state != "waiting" for one in self._teachers(photo))

    def learned(self, photo: PhotoRow) -> tuple[SlipDesign, ...]:
        """Return the designs that the first photos of its pile teach for this one."""
        teachers = {one.id for one in self._teachers(photo)}
        slips = tuple(row.id for row in self.store.slips(photo.pile) if row.photo in teachers)
        known = self._learned.get(photo.pile)
        if known is None or known[0] != slips:
            whole = [replace(one, sheet_jpeg=self._sheet(at)) for at in slips if (one := self.reading(at))]
            known = self._learned[photo.pile] = slips, designs_of(whole)
        return known[1]

    def _teachers(self, photo: PhotoRow) -> list[PhotoRow]:
        photos = self.store.photos(photo.pile)
        place = next((place for place, one in enumerate(photos) if one.id == photo.id), 0)
        return photos[: taught_by(place)]

    def file_of(self, photo: PhotoRow) -> PhotoFile | None:
        """The photo as the reader wants it."""
        path = self.store.photo_path(photo.id)
        return None if path is None else PhotoFile(path, photo.name)

    # Answers

    def answer(self, slip: int, box: str, value: Any) -> KeptSlip | None:
        """Keep what a person says, judge the slip anew, and return it.

        Parameters
        ----------
        box
            :func:`box_key`, or :data:`HAND`, :data:`NUMBER`, :data:`CUSTOMER`.
        value
            What stands in the box (:data:`formread.arithmetic.Facts`); for ``HAND`` a mapping with
            ``verdict`` (``agrees``, ``seen``) or ``right_total``; for ``NUMBER`` text; for ``CUSTOMER`` a
            mapping with ``name`` and ``address``.

        Raises
        ------
        ValueError
            When the slip has no such box, or the box can't hold that.
        """
        with self._lock:
            row = self.store.slip(slip)
            if row is None:
                return None
            said = [*self.store.answers_of(slip), Answer(0, slip, box, value)]
            outcome = self._judge(row, said)
            self.store.answer(row, box, value, encode(outcome))
            return KeptSlip(row.id, row.photo, outcome)

    def undo(self, pile: int) -> tuple[KeptSlip, Answer] | None:
        """Take the newest answer of a pile back; None where there is none."""
        with self._lock:
            last = self.store.last_answer(pile)
            row = None if last is None else self.store.slip(last.slip)
            if last is None or row is None:
                return None
            left = [answer for answer in self.store.answers_of(row.id) if answer.id != last.id]
            outcome = self._judge(row, left)
            self.store.take_back(last, row, encode(outcome))
            return KeptSlip(row.id, row.photo, outcome), last

    def refresh(self, pile: int, *, every: bool = False) -> bool:
        """Learn anew what the slips say of each other, and judge again those that it touches; say whether any changed.

        Parameters
        ----------
        every
            Judge all slips again: what is known beside them has changed.
        """
        renamed = self._settle(pile)
        answers = self.store.answers(pile)
        known, layouts, misfits = [], [], []
        for row in self.store.slips(pile):
            read = self.reading(row.id)
            if read is not None:
                known.append((row.id, confirm(read.readings, facts_of(answers.get(row.id, [])))))
                layouts.append(read.layout)
                misfits.append(_decoded(row.outcome).judgement.misfit)
        prices = PilePrices([readings for _, readings in known])
        changed = False
        for (at, readings), doubt in zip(known, pool_doubts(layouts, misfits), strict=True):
            learned = prices.for_slip(readings)
            with self._lock:
                now = self.store.slip(at)
                if now is None:
                    continue
                judged = _decoded(now.outcome).judgement
                alike = abs(doubt - judged.doubt) <= DOUBTED_ALIKE * doubt or not touched(judged, doubt)
                if dict(now.learned) == learned and alike and at not in renamed and not every:
                    continue
                outcome = self._judge(replace(now, learned=learned), self.store.answers_of(at), doubt)
                self.store.keep_outcome(now, learned, encode(outcome))
                changed = True
        return changed

    def _settle(self, pile: int) -> frozenset[int]:
        """Let a pile's slips agree on their boxes, and name these as its sums say, once all photos are read.

        Returns the slips that changed. Those about which a person has said something keep the boxes, and the names,
        under which it was said.
        """
        if any(photo.pile == pile for photo in self.store.waiting()):
            return frozenset()
        rows = self.store.slips(pile)
        ids = frozenset(row.id for row in rows)
        if self._settled.get(pile) == ids:
            return frozenset()
        read = {row.id: self.reading(row.id) for row in rows}
        known = {at: one for at, one in read.items() if one is not None}
        answered = self.store.answers(pile)
        renamed: list[int] = []
        whole = [replace(one, sheet_jpeg=self._sheet(at)) for at, one in known.items()]
        for (at, before), settled in zip(known.items(), settle_roles(pool_layouts(whole)), strict=True):
            if settled.layout == before.layout or answered.get(at):
                continue
            now = replace(settled, sheet_jpeg=b"")
            with self._lock:
                self.store.keep_reading(at, pile, encode(now))
                self._readings[at] = now
            renamed.append(at)
        self._settled[pile] = ids
        return frozenset(renamed)

    def _sheet(self, slip: int) -> bytes:
        """A slip's flattened picture as it is kept; nothing where it was deleted meanwhile."""
        path = self.store.picture_path(slip, small=False)
        return path.read_bytes() if path is not None and path.exists() else b""

    def forget(self) -> None:
        """Let go of readings in memory, after something was deleted."""
        with self._lock:
            self._readings.clear()
            self._settled.clear()
            self._learned.clear()
            _decoded.cache_clear()

    def _judge(self, row: SlipRow, answers: Sequence[Answer], doubt: float | None = None) -> Outcome:
        read = self.reading(row.id)
        if read is None:
            raise ValueError("this slip was deleted")
        doubt = _decoded(row.outcome).judgement.doubt if doubt is None else doubt
        return _outcome(read, answers, row.learned, self._known(row.pile), doubt)


def _kept(row: SlipRow) -> KeptSlip:
    return KeptSlip(row.id, row.photo, _decoded(row.outcome))


@lru_cache(maxsize=4096)
def _decoded(outcome: bytes) -> Outcome:
    """Outcomes are frozen, so a pile that is shown again is not decoded again."""
    return decode(outcome, Outcome)


def _outcome(
    read: ReadSlip, answers: Sequence[Answer], learned: Mapping[str, int], known: Known, doubt: float
) -> Outcome:
    facts: Facts = facts_of(answers)
    slip, judgement = judge_slip(read, facts, learned, known, doubt=doubt)
    outcome = Outcome(slip, judgement)
    for answer in answers:
        match answer.box:
            case "hand":
                outcome = by_hand(outcome, answer.value)
            case "number":
                outcome = replace(outcome, slip=replace(outcome.slip, slip_number=answer.value or None))
            case "customer":
                name, address = answer.value["name"] or None, answer.value["address"] or None
                outcome = replace(outcome, slip=replace(outcome.slip, customer=name, address=address))
    return outcome


def by_hand(outcome: Outcome, said: Mapping[str, Any]) -> Outcome:
    """Put what a person found by hand in the place of what the judge says; the seller decides.

    A slip without a written total stays ``unsure``: there is nothing that could agree.
    """
    slip = outcome.slip
    right = said.get("right_total")
    if said.get("verdict") == "agrees" and slip.written_total is not None:
        right = slip.written_total
    if right is None:
        return replace(outcome, seen=True)
    if slip.written_total is None:
        changed = replace(
            slip, computed_total=right, reason="Checked by hand. No total is written.", ask=None
        )
        return replace(outcome, slip=changed, seen=True)
    difference = slip.written_total - right
    changed = replace(
        slip,
        computed_total=right,
        difference=difference,
        verdict="wrong" if difference else "agrees",
        probability_wrong=1.0 if difference else 0.0,
        reason="Checked by hand: the total is wrong."
        if difference
        else "Checked by hand: the total is right.",
        ask=None,
        at_stake=abs(difference),
    )
    return replace(outcome, slip=changed, seen=True)


def small_picture(jpeg: bytes) -> bytes:
    """Shrink a slip's picture for lists."""
    image = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        return jpeg
    height, width = image.shape[:2]
    scale = min(1.0, SMALL_WIDTH / width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, _SMALL_QUALITY])
    return data.tobytes()
