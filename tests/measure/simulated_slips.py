"""Invented slips as customers write and total them, right and wrong, with readings of their boxes.

The mixtures of mistakes are deliberately not the judge's own table: each stresses another kind. The readings
come from recorded confusions of the reader (``record_confusions``) or, without those, from a stated middling
reader. Only numbers; no picture.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any, Final, Literal, cast

import numpy as np

from formread.arithmetic.evidence import Tabled
from formread.arithmetic.record import LineReadings, SlipReadings, TotalKind, TotalReading
from formread.arithmetic.terms import NO_TERMS, Terms
from formread.record import DITTO, Candidate, Kind, Reading, Value

Mix = Literal["columns", "omissions", "products", "odd", "even"]

_PEN: Final = ("carry", "swap", "digit", "slide")
_SUM: Final = ("left_out", "twice", "forgot_charge", "charge_sign", "struck_counted", "charge_amount")
_LINE: Final = (
    "line_carry",
    "line_swap",
    "line_digit",
    "line_slide",
    "times",
    "unmultiplied",
    "line_unknown",
    "offer",
)

MIXES: Final[dict[Mix, dict[str, float]]] = {
    "columns": {"carry": 50, "digit": 25, "swap": 12, "unknown": 8, "slide": 5},
    "omissions": {
        "left_out": 35, "twice": 15, "forgot_charge": 15, "charge_sign": 10, "struck_counted": 10,
        "charge_amount": 10, "digit": 5,
    },
    "products": {"times": 30, "unmultiplied": 15, "line_swap": 15, "line_digit": 15, "line_carry": 15,
                 "line_slide": 3, "line_unknown": 4, "offer": 3},
    "odd": {"unknown": 50, "line_unknown": 30, "two": 20},
    "even": dict.fromkeys((*_PEN, *_SUM, *_LINE, "unknown", "two"), 1.0),
}  # fmt: skip
"""Shares of the kinds of mistake by mixture; ``two`` is a wrong product and a wrong sum on one slip."""

_SIGNS: Final[dict[str, int]] = {"brought": 1, "delivery": 1, "discount": -1, "deposit": -1}


@dataclass(frozen=True, slots=True)
class Several:
    """An offer of the price list: so many pieces for so much."""

    pieces: int
    amount: int

    def cost(self, count: int, price: int) -> int:
        """What so many pieces come to."""
        return count // self.pieces * self.amount + count % self.pieces * price


@dataclass(frozen=True, slots=True)
class Row:
    """One row as written; ``struck`` rows are crossed out. ``right`` is what it comes to."""

    quantity: Value = None
    unit_price: Value = None
    line_total: Value = None
    right: int = 0
    summed: int = 0
    count: int = 1
    price: int = 0
    code: str = ""
    struck: bool = False
    offer: Several | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing is written."""
        return self.quantity is None and self.unit_price is None and self.line_total is None


Known = Literal["list", "codes", "nothing"]
"""What is known of products: the seller's price list; codes, so that the slips of a pile testify for each other's
prices; or neither, where the pad has no column for codes."""

_PRODUCTS: Final = 150
_KNOWN: Final[dict[Known, float]] = {"list": 0.3, "codes": 0.4, "nothing": 0.3}
_OLD_PRICE: Final = 0.03
"""How often a customer writes another price than the catalogue's, from an old one say. An assumption."""


@dataclass(frozen=True, slots=True, eq=False)
class Pile:
    """What the slips of one pile share: a catalogue, some of it ordered far more often than the rest (Zipf's law)."""

    codes: tuple[str, ...]
    prices: tuple[int, ...]
    known: Known

    def products(self, count: int, rng: np.random.Generator) -> list[int]:
        """Draw what one customer orders, no product twice."""
        often = 1 / np.arange(1, len(self.codes) + 1)
        return [int(i) for i in rng.choice(len(self.codes), count, replace=False, p=often / often.sum())]


def start_pile(rng: np.random.Generator) -> Pile:
    """Make up a catalogue, and what the seller knows of it."""
    numbers = rng.choice(900_000, _PRODUCTS, replace=False) + 100_000
    codes = tuple(f"{number // 1000}-{number % 1000:03d}" for number in numbers.tolist())
    known = str(rng.choice(list(_KNOWN), p=list(_KNOWN.values())))
    return Pile(codes, tuple(_price(rng) for _ in codes), cast(Known, known))


@dataclass(frozen=True, slots=True)
class Simulated:
    """One slip: what is written, what it comes to, and how the customer erred (None: not at all)."""

    rows: tuple[Row, ...]
    totals: tuple[tuple[TotalKind, Value], ...]
    right: int
    written: int
    mistake: str | None
    known: Known
    terms: Terms = NO_TERMS
    percent: int | None = None
    """Hundredths of one per cent printed beside the discount's box."""
    carried: tuple[int, ...] = ()
    """Totals of other slips of the pile."""

    @property
    def wrong(self) -> bool:
        """Whether the written total is not what the slip comes to."""
        return self.written != self.right


def _price(rng: np.random.Generator) -> int:
    price = int(np.exp(rng.uniform(np.log(60), np.log(4500))))
    ending = int(rng.choice([9, 5, 0, -1], p=[0.4, 0.25, 0.2, 0.15]))
    return price if ending < 0 else price // 10 * 10 + ending


def _rows(rng: np.random.Generator, filled: int, room: int, pile: Pile, *, struck: bool) -> list[Row]:
    rows: list[Row] = []
    multiplied = rng.random() < 0.5  # this customer fills in line totals of single pieces too, or not
    for product in pile.products(filled, rng):
        count = int(
            rng.choice([1, 2, 3, 4, 5, 6, 10, 12, 24], p=[0.5, 0.2, 0.1, 0.06, 0.04, 0.04, 0.03, 0.02, 0.01])
        )
        code = pile.codes[product] if pile.known != "nothing" else ""
        price = pile.prices[product] if rng.random() >= _OLD_PRICE else _price(rng)
        quantity: Value = None if count == 1 and rng.random() < 0.2 else count
        amount: Value = price
        if rows and rng.random() < 0.02:
            amount, price, code = DITTO, rows[-1].price, rows[-1].code
        offer = None
        if pile.known == "list" and amount != DITTO and count > 1 and rng.random() < 0.15:
            pieces = min(count, int(rng.choice([2, 3])))
            offer = Several(pieces, int(pieces * price * rng.uniform(0.7, 0.95)))
        elif amount == DITTO:
            offer = rows[-1].offer  # the same product once more
        right = count * price if offer is None else offer.cost(count, price)
        blank = rng.random() < (0.06 if multiplied or count > 1 else 0.3)
        rows.append(
            Row(quantity, amount, None if blank else right, right, right, count, price, code, offer=offer)
        )
    if struck:
        place = int(rng.integers(len(rows)))
        rows[place] = replace(rows[place], struck=True)
    return rows + [Row()] * (room - filled)


def misadded(number: int, kind: str, rng: np.random.Generator) -> int:
    """Make a slip of the pen; the same number comes back where that slip is impossible."""
    digits = str(number)
    match kind:
        case "carry":
            column = int(rng.integers(1, max(len(digits), 2)))
            apart = int(rng.choice([1, -1, 2, -2], p=[0.42, 0.42, 0.08, 0.08]))
            return max(number + apart * int(10**column), 0)
        case "swap":
            reach = 1 if rng.random() < 0.8 else 2
            if len(digits) <= reach:
                return number
            at = int(rng.integers(len(digits) - reach))
            swapped = list(digits)
            swapped[at], swapped[at + reach] = swapped[at + reach], swapped[at]
            return number if swapped[0] == "0" else int("".join(swapped))
        case "digit":
            at = int(rng.integers(len(digits)))
            new = str(int(rng.integers(at == 0, 10)))
            return int(digits[:at] + new + digits[at + 1 :])
        case "slide":
            return number // 10 if number % 10 == 0 and rng.random() < 0.5 else number * 10
        case _:
            return max(number + int(rng.choice([1, -1])) * int(np.exp(rng.uniform(0, np.log(3000)))), 1)


def _wrong_line(row: Row, kind: str, rng: np.random.Generator) -> Row | None:
    if row.line_total is None or row.struck:
        return None
    if kind == "times":
        if row.count < 2:
            return None
        written = (row.count + int(rng.choice([1, -1]))) * row.price
    elif kind == "offer":
        if row.offer is None:
            return None
        written = row.count * row.price
    elif kind == "unmultiplied":
        written = row.price
    else:
        written = misadded(row.right, kind.removeprefix("line_"), rng)
    return None if written in (row.right, 0) else replace(row, line_total=written, summed=written)


def _sum_rows(rows: list[Row], kind: str | None, rng: np.random.Generator) -> int | None:
    """What the customer sums to, with one slip in what is summed."""
    counted = [row for row in rows if not row.empty and not row.struck]
    made = sum(row.summed for row in counted)
    match kind:
        case "left_out" if len(counted) > 1:
            return made - counted[int(rng.integers(len(counted)))].summed
        case "twice":
            return made + counted[int(rng.integers(len(counted)))].summed
        case "struck_counted":
            gone = [row for row in rows if row.struck]
            return made + gone[0].summed if gone else None
        case "left_out":
            return None
        case _:
            return made


def simulate(rng: np.random.Generator, pile: Pile, *, wrong: bool, mix: Mix) -> Simulated:
    """Make one slip of a pile; a wrong one until its total is wrong."""
    while True:
        made = _attempt(rng, pile, mix if wrong else None)
        if made is not None and made.wrong == wrong and made.written > 0:
            return made


def _attempt(rng: np.random.Generator, pile: Pile, mix: Mix | None) -> Simulated | None:
    kind: str | None = None
    if mix is not None:
        kinds = list(MIXES[mix])
        shares = np.array([MIXES[mix][k] for k in kinds])
        kind = str(rng.choice(kinds, p=shares / shares.sum()))
    filled = int(rng.integers(2, 15))
    room = min(14, filled + int(rng.integers(0, 6)))
    rows = _rows(rng, filled, room, pile, struck=kind == "struck_counted" or rng.random() < 0.03)
    line_kind = kind if kind in _LINE else str(rng.choice(_LINE)) if kind == "two" else None
    if line_kind is not None:
        offered = [i for i, row in enumerate(rows) if row.offer is not None]
        if kind == "offer" and not offered:
            return None
        place = int(rng.choice(offered)) if kind == "offer" else int(rng.integers(filled))
        changed = _wrong_line(rows[place], line_kind, rng)
        if changed is None:
            return None
        rows[place] = changed
    pen = kind if kind in (*_PEN, "unknown") else str(rng.choice(_PEN)) if kind == "two" else None
    goods = _sum_rows(rows, kind, rng)
    if goods is None:
        return None
    totals: list[tuple[TotalKind, Value]] = []
    early = False
    if rng.random() < 0.4:
        written = rng.random() < 0.6
        early = written and pen is not None and rng.random() < 0.4
        if early and pen is not None:
            goods = misadded(goods, pen, rng)
        totals.append(("goods", goods if written else None))
    seller = _seller(rng, kind)
    charged = _charges(rng, goods, sum(row.right for row in rows if not row.struck), totals, kind, seller)
    if charged is None:
        return None
    total, right = charged
    if pen is not None and not early:
        total = misadded(total, pen, rng)
    totals.append(("total", total))
    return Simulated(
        tuple(rows),
        tuple(totals),
        right,
        total,
        kind,
        pile.known,
        seller.terms,
        seller.percent,
        seller.carried,
    )


@dataclass(frozen=True, slots=True)
class _Seller:
    """What the seller asks for delivery, prints beside the discount, and has in the pile."""

    terms: Terms
    percent: int | None
    carried: tuple[int, ...]


def _seller(rng: np.random.Generator, kind: str | None) -> _Seller:
    terms, percent = NO_TERMS, None
    if rng.random() < 0.25 or kind == "charge_amount":
        free = 1000 * int(rng.integers(2, 12)) if rng.random() < 0.6 else None
        terms = Terms(50 * int(rng.integers(3, 12)), free)
    if rng.random() < 0.15:
        percent = int(rng.choice([250, 500, 750, 1000, 1500]))
    carried: tuple[int, ...] = ()
    if rng.random() < 0.04:
        carried = tuple(int(np.exp(rng.uniform(np.log(800), np.log(20_000)))) for _ in range(25))
    return _Seller(terms, percent, carried)


def _charges(
    rng: np.random.Generator,
    goods: int,
    right_goods: int,
    totals: list[tuple[TotalKind, Value]],
    kind: str | None,
    seller: _Seller,
) -> tuple[int, int] | None:
    """Write the charges; return what the customer has summed with them and what it comes to.

    None where the customer was to make a mistake for which this slip has no room. A percentage is taken of
    what the customer has summed so far, which is what is wrong later if that was wrong.
    """
    summed, right = goods, right_goods
    wanted = kind in ("forgot_charge", "charge_sign", "charge_amount")
    spoilt = False
    boxes: tuple[tuple[TotalKind, float], ...] = (
        ("brought", 1.0 if seller.carried else 0.0),
        ("discount", 1.0 if seller.percent else 0.2),
        ("delivery", 1.0 if seller.terms.delivery is not None else 0.5),
        ("deposit", 0.15),
    )
    for name, often in boxes:
        if rng.random() >= often:
            continue
        meant, due, ruled = _amount(rng, name, summed, right, seller)
        if ruled and kind == "charge_amount" and not spoilt:
            spoilt = True
            wrongly = [None, meant + 50, max(meant - 100, 50), 10 * meant] if meant else [200, 350]
            meant = wrongly[int(rng.integers(len(wrongly)))] or 0
        totals.append((name, meant or None))
        added = _SIGNS[name] * meant
        right += _SIGNS[name] * due if ruled else added
        if added and not spoilt and kind in ("forgot_charge", "charge_sign"):
            spoilt = True
            added = 0 if kind == "forgot_charge" else -added
        summed += added
    return (summed, right) if spoilt == wanted else None


def _amount(
    rng: np.random.Generator, name: TotalKind, summed: int, right: int, seller: _Seller
) -> tuple[int, int, bool]:
    """What the customer means to write for a charge, what it should be, and whether the seller rules that."""
    if name == "brought":
        return (amount := int(rng.choice(seller.carried)), amount, False)
    if name == "delivery" and seller.terms.delivery is not None:
        free = seller.terms.free_from
        return (
            0 if free is not None and summed >= free else seller.terms.delivery,
            0 if free is not None and right >= free else seller.terms.delivery,
            True,
        )
    if name == "discount" and seller.percent is not None:
        # Exact, a half upwards: Python's decimal, not the judge's own arithmetic.
        meant, due = (
            int((Decimal(sum_so_far) * seller.percent / 10_000).quantize(Decimal(1), ROUND_HALF_UP))
            for sum_so_far in (summed, right)
        )
        return meant, due, True
    amount = 0
    if rng.random() < 0.45:
        amount = (
            50 * int(rng.integers(3, 12)) if name == "delivery" else summed * int(rng.choice([5, 10])) // 100
        )
    return amount, amount, False


# --- readings -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawn:
    """A reading made up for a box, from a recorded one or by the middling reader."""

    kind: Kind
    values: tuple[tuple[Value, float], ...]
    asked: Mapping[Value, float]
    """Values that are not listed and whose probability is known."""
    truth: Value
    near: tuple[float, ...]
    far: tuple[float, ...]
    struck_out: float = 0.0
    unreadable: float = 0.0

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """The values as candidates, amounts in minor units."""
        return tuple(Candidate("" if v is None else str(v), p) for v, p in self.values)

    def probability_of(self, value: Value) -> float:
        """Listed, or known, or one of the recorded probabilities of such numbers, always the same."""
        for listed, p in self.values:
            if listed == value:
                return p
        if value in self.asked:
            return self.asked[value]
        if not isinstance(value, int) or not isinstance(self.truth, int):
            return 0.0
        one, two = str(value), str(self.truth)
        close = len(one) == len(two) and sum(a != b for a, b in zip(one, two, strict=True)) == 1
        known = (self.near if close else self.far) or (0.0,)
        return known[value % len(known)]


def moved(value: Value, old: str, new: str) -> Value:
    """What a reader that takes `old` for `value` would take `new` for: the same digits mistaken alike."""
    if not isinstance(value, int):
        return value
    digits = str(value)
    if len(digits) == len(old):
        # A swap of the two digits keeps a confusion a confusion, and never makes it the truth.
        made = "".join(
            n if d == o else (o if d == n else d) for d, o, n in zip(digits, old, new, strict=True)
        )
        return int(made)
    ahead = 0
    while ahead < min(len(digits), len(old)) and digits[ahead] == old[ahead]:
        ahead += 1
    behind = 0
    while behind < min(len(digits), len(old)) - ahead and digits[-1 - behind] == old[-1 - behind]:
        behind += 1
    return int(new[:ahead] + digits[ahead : len(digits) - behind] + new[len(new) - behind :] or "0")


@dataclass(slots=True)
class Recorded:
    """Draws readings from recorded boxes: one with as many digits, the closest of a few.

    A slip is in one hand: where the slip's writer has such boxes, it is one of those. No box is drawn twice on one
    slip: it would be misread twice in the very same way, as no two boxes of one hand are.
    """

    boxes: list[dict[str, Any]]
    about: str = ""
    _by: dict[tuple[str, int], list[dict[str, Any]]] = field(default_factory=dict)
    _own: dict[tuple[str, str, int], list[dict[str, Any]]] = field(default_factory=dict)
    _writers: list[str] = field(default_factory=list)
    _writer: str = ""
    _drawn: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        for box in self.boxes:
            self._by.setdefault((box["kind"], _shape(box["truth"])), []).append(box)
            self._own.setdefault((box["writer"], box["kind"], _shape(box["truth"])), []).append(box)
        self._writers = sorted({box["writer"] for box in self.boxes})

    def take_up(self, rng: np.random.Generator) -> None:
        """Go over to another slip, and another writer."""
        self._drawn.clear()
        self._writer = self._writers[int(rng.integers(len(self._writers)))]

    @classmethod
    def load(cls, path: Path) -> "Recorded":
        """Read what ``record_confusions`` wrote."""
        data = json.loads(path.read_text("utf-8"))
        return cls(data["boxes"], data["about"])

    def read(self, kind: Kind, value: Value, rng: np.random.Generator) -> Reading:
        """Draw a reading of a box in which `value` stands."""
        shape = _shape(value)
        ahead = ""
        while shape > 1 and len(self._by.get((kind, shape), ())) < _FEW:
            shape -= 1  # long numbers are rare: one digit fewer, the first taken as surely read
            ahead = str(value)[: len(str(value)) - shape]
        # No amount of one digit was recorded: a quantity looks the same.
        some = self._by.get((kind, shape)) or self._by.get(("quantity", shape), [])
        if not some:
            if value == DITTO:
                return Tabled(kind, {DITTO: 0.97, None: 0.02}, floor=1e-6)
            raise ValueError(f"no recorded {kind} box is like {value!r}")
        own = [b for b in self._own.get((self._writer, kind, shape), ()) if id(b) not in self._drawn]
        text = str(value)[len(ahead) :]
        few = [(own or some)[int(i)] for i in rng.integers(len(own or some), size=_LOOKED_AT)]
        few = [b for b in few if id(b) not in self._drawn] or few
        box = max(few, key=lambda b: sum(a == c for a, c in zip(str(b["truth"]), text, strict=False)))
        self._drawn.add(id(box))
        return _transplanted(box, kind, value, ahead, text)


_FEW: Final = 40
_LOOKED_AT: Final = 6


def _shape(value: Value) -> int:
    return -1 if value is None else 0 if value == DITTO else len(str(value))


def _transplanted(box: dict[str, Any], kind: Kind, value: Value, ahead: str, text: str) -> Drawn:
    found: dict[Value, float] = {}
    for old, p in box["values"]:
        new: Value = old
        if old == box["truth"]:
            new = value
        elif isinstance(box["truth"], int) and isinstance(old, int):
            new = moved(old, str(box["truth"]), text)
            new = int(f"{ahead}{new:0{len(text)}d}") if ahead else new
            if new == value:
                continue
        found[new] = found.get(new, 0.0) + p
    values = tuple(sorted(found.items(), key=lambda item: -item[1]))
    asked: dict[Value, float] = {value: box["truth_p"], None: box["blank_p"], DITTO: box["ditto_p"]}
    if value is None or value == DITTO:
        asked[value] = box["truth_p"]
    return Drawn(kind, values, asked, value, tuple(box["near"]), tuple(box["far"]))


@dataclass(slots=True)
class Middling:
    """The stated middling reader, used where nothing was recorded.

    Per box a doubt is drawn; with it one or two digits read as others, or one dropped. The truth takes its
    place in the table by chance, as often as its own probability says: the reader is honest by construction.
    """

    about: str = "a middling synthetic reader"
    doubt: float = 0.03

    def read(self, kind: Kind, value: Value, rng: np.random.Generator) -> Reading:
        """Draw a reading of a box in which `value` stands."""
        wrong = min(float(rng.exponential(self.doubt)), 0.6)
        shares = np.array([1 - wrong, *(wrong * np.array([0.75, 0.15, 0.06, 0.04]))])
        place = int(rng.choice(5, p=shares))
        values: list[Value] = []
        while len(values) < 4:
            other = _mistaken(value, rng)
            if other != value and other not in values:
                values.append(other)
        values.insert(place, value)
        known = {v: float(p) for v, p in zip(values, shares, strict=True)}
        if rng.random() < 0.003:  # not among the five best
            known.pop(value)
        return Drawn(kind, tuple(known.items()), {value: 1e-4}, value, (1e-5,), (1e-9,))


def _mistaken(value: Value, rng: np.random.Generator) -> Value:
    if not isinstance(value, int):
        return int(rng.choice([1, 7, 4, 11])) if rng.random() < 0.7 else None if value == DITTO else DITTO
    digits = str(value)
    if rng.random() < 0.08:
        return None if len(digits) == 1 else int(digits[1:])
    at = int(rng.integers(len(digits)))
    return int(digits[:at] + str(int(rng.integers(10))) + digits[at + 1 :])


_TELLING: Final = 6.0
"""How well a line through a row is seen: the standard deviation of its log odds, 18 from those of a row that
stands. One struck row in a hundred is missed. An assumption: whole struck rows were not recorded."""
_STRUCK_ROWS: Final = 0.01


def _struck(crossed: bool, rng: np.random.Generator) -> float:
    """Draw the probability that a row is struck out, honest by construction (equal-variance normal odds)."""
    middle = _TELLING**2 / 2 if crossed else -(_TELLING**2) / 2
    odds = rng.normal(middle, _TELLING) + np.log(_STRUCK_ROWS / (1 - _STRUCK_ROWS))
    return float(1 / (1 + np.exp(-odds)))


_CODES_MISREAD: Final = 0.035
"""How often another code is read than is written. An assumption: codes were not recorded."""


def _code(code: str, rng: np.random.Generator) -> Reading:
    if rng.random() >= _CODES_MISREAD:
        return Tabled("code", {code: 0.97})
    place = int(rng.integers(len(code) - 1))
    other = code[:place] + str(int(rng.integers(10))) + code[place + 1 :]
    return Tabled("code", {other: 0.7, code: 0.25} if other != code else {code: 0.97})


def read_slip(slip: Simulated, reader: Recorded | Middling, rng: np.random.Generator) -> SlipReadings:
    """Read every box of a slip."""
    lines = []
    if isinstance(reader, Recorded):
        reader.take_up(rng)
    for number, row in enumerate(slip.rows, start=1):
        surely = 0.0 if row.empty else _struck(row.struck, rng)
        lines.append(
            LineReadings(
                number,
                reader.read("quantity", row.quantity, rng),
                reader.read("amount", row.unit_price, rng),
                reader.read("amount", row.line_total, rng),
                _code(row.code, rng) if row.code else None,
                surely,
            )
        )
    totals = tuple(
        TotalReading(kind, reader.read("amount", value, rng), slip.percent if kind == "discount" else None)
        for kind, value in slip.totals
    )
    return SlipReadings(tuple(lines), totals)
