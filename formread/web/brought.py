"""What the seller brought to a pile: lists, terms of delivery, and how customers erred on earlier evenings.

Lists are read once, when they come; what was read in them is kept, and understood anew each time, for what they
mean hangs on the slips (a delivery note's doubtful code on the codes that were ordered).
"""

import csv
import json
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, Literal

from formread.arithmetic import Terms
from formread.arithmetic.learning import relearn, tally
from formread.arithmetic.priors import STANDARD, Priors
from formread.errors import ListError
from formread.goods.delivery import DeliveryNote
from formread.goods.note import NoteFile, look_at, understand_note
from formread.goods.page import Piece
from formread.goods.price_list import PriceList, price_list_from
from formread.goods.table import Row, read_rows
from formread.pile.codec import decode
from formread.pile.record import Outcome
from formread.pile.run import Known
from formread.pile.store import Store
from formread.round.customers import NOBODY, Customers, customers_from
from formread.round.streets import StreetList, streets_csv, streets_from

ListKind = Literal["prices", "note", "customers"]
MOST_LISTS: Final = 40
"""Files of one kind with one pile: pages of a delivery note, mostly."""
_SUFFIXES: Final = frozenset(
    {".csv", ".xlsx", ".pdf", ".heic", ".heif", ".tif", ".tiff", ".png", ".jpg", ".webp"}
)


class Brought:
    """The seller's lists, as the store keeps them."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._rates: tuple[tuple[object, ...], Priors] = ((), STANDARD)

    def add(self, pile: int, kind: ListKind, name: str, data: bytes, code: str) -> None:
        """Read a list and keep it; a new price list takes the old one's place.

        Parameters
        ----------
        name
            What the file is called on the pages; never used as a path.
        code
            ISO 4217 code of the pile.

        Raises
        ------
        ListError
            When it can't be used: nothing is kept then.
        """
        there = self.store.lists(pile, kind)
        if len(there) >= MOST_LISTS:
            raise ListError(f"There are {MOST_LISTS} files already. Take some out first.")
        file = _looked_at(name, data, note=kind == "note")
        if kind == "prices":
            price_list_from(file.name, file.rows, code)
        elif kind == "customers":
            customers_from([(file.name, file.rows)])
        else:
            understand_note([file], (), code)
        picture = data if file.pages is not None else None
        self.store.add_list(pile, kind, name, json.dumps(asdict(file), separators=(",", ":")), picture)
        if kind == "prices":
            for old in there:
                self.store.delete_list(pile, old.id)

    def prices(self, pile: int, code: str) -> PriceList | None:
        """The price list of a pile, or None."""
        lists = self.store.lists(pile, "prices")
        return _price_list(lists[-1].name, lists[-1].content, code) if lists else None

    def note(self, pile: int, ordered: Sequence[str], code: str) -> DeliveryNote | None:
        """The delivery note of a pile, or None; `ordered` are the codes on its slips."""
        files = [_file(row.content) for row in self.store.lists(pile, "note")]
        return understand_note(files, ordered, code) if files else None

    def customers(self, pile: int) -> Customers:
        """The lists of customers of a pile."""
        files = [_file(row.content) for row in self.store.lists(pile, "customers")]
        return customers_from([(file.name, file.rows) for file in files]) if files else NOBODY

    def take_up_streets(self, name: str, data: bytes) -> None:
        """Put a street list that was brought in the place of the kept walk.

        Raises
        ------
        ListError
            When it is none.
        """
        file = _looked_at(name, data, note=False)
        self.keep_streets(streets_from(file.name, file.rows))

    def streets(self) -> StreetList | None:
        """The kept walk, the same for every pile; None while there is none."""
        text = self.store.streets
        return _walk(text) if text else None

    def keep_streets(self, streets: StreetList) -> None:
        """Keep the walk."""
        self.store.streets = streets_csv(streets) if streets.legs else ""

    def known(self, pile: int) -> Known:
        """What is known beside the slips of a pile: prices, terms, and how customers err."""
        row = self.store.pile(pile)
        prices = None if row is None else self.prices(pile, row.currency)
        terms = Terms(**self.store.said(pile).get("terms", {}))
        priors = self._priors(pile)
        if prices is None:
            return Known(terms=terms, priors=priors)
        return Known(prices.prices, prices.offers, prices.descriptions, terms, priors=priors)

    def _priors(self, pile: int) -> Priors:
        """The rates of error, re-estimated from the other piles whose every doubt is settled."""
        others = tuple((other.id, other.revision) for other in self.store.piles() if other.id != pile)
        if self._rates[0] != others:
            judgements = []
            for other, _ in others:
                outcomes = [decode(row.outcome, Outcome) for row in self.store.slips(other)]
                if all(one.seen or one.slip.verdict != "unsure" for one in outcomes):
                    judgements += [one.judgement for one in outcomes]
            self._rates = (others, relearn(tally(judgements)) if judgements else STANDARD)
        return self._rates[1]


def _looked_at(name: str, data: bytes, *, note: bool) -> NoteFile:
    """Read a file that was sent, under a name of our own; what is said about it names it as the seller does."""
    suffix = Path(name).suffix.casefold()
    with tempfile.TemporaryDirectory(prefix="formread-") as folder:
        path = Path(folder) / f"list{suffix if suffix in _SUFFIXES else ''}"
        path.write_bytes(data)
        try:
            file = look_at(path) if note else NoteFile(path.name, read_rows(path))
        except ListError as error:
            raise ListError(str(error).replace(path.name, name)) from error
    return NoteFile(name, file.rows, file.pages)


@lru_cache(maxsize=64)
def _file(content: str) -> NoteFile:
    kept: dict[str, Any] = json.loads(content)
    rows = tuple(Row(row["number"], tuple(row["cells"])) for row in kept["rows"])
    pages = kept["pages"]
    if pages is not None:
        pages = tuple(tuple(Piece(**piece) for piece in page) for page in pages)
    return NoteFile(kept["name"], rows, pages)


@lru_cache(maxsize=8)
def _price_list(name: str, content: str, code: str) -> PriceList:
    return price_list_from(name, _file(content).rows, code)


@lru_cache(maxsize=4)
def _walk(text: str) -> StreetList:
    rows = tuple(Row(at, tuple(cells)) for at, cells in enumerate(csv.reader(text.splitlines()), 1))
    return streets_from("your walk", rows)
