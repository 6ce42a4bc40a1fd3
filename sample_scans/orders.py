"""What customers write: an invented little firm's catalogue, invented customers, and the ways sums go wrong.

Everything here is invented. Money is whole pence.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

ChargeKind = Literal["delivery", "discount", "deposit", "other"]

PRODUCTS = (
    ("Runner bean seeds", 249),
    ("Broad bean seeds", 225),
    ("Sweet pea mixed", 199),
    ("Cosmos seeds", 185),
    ("Leek seeds", 165),
    ("Beetroot seeds", 145),
    ("Garlic bulbs", 599),
    ("Shallot sets", 475),
    ("Seed potatoes", 650),
    ("Garden twine", 349),
    ("Jute string", 225),
    ("Raffia", 310),
    ("Bean canes", 1250),
    ("Pea netting", 795),
    ("Plant labels", 199),
    ("Slate labels", 899),
    ("Seed tins", 1475),
    ("Paper pots", 425),
    ("Coir pots", 380),
    ("Seed trays", 560),
    ("Jam jars", 1095),
    ("Jam labels", 275),
    ("Wax discs", 175),
    ("Muslin", 450),
    ("Honey jars", 1320),
    ("Cork stoppers", 340),
    ("Wool aran", 525),
    ("Wool sock", 699),
    ("Wool lace", 849),
    ("Bamboo needles", 590),
    ("Stitch markers", 295),
    ("Darning set", 750),
    ("Beeswax block", 620),
    ("Candle wick", 215),
    ("Soap flakes", 480),
    ("Lavender bag", 325),
    ("Bird seed", 899),
    ("Fat balls", 550),
    ("Nest box", 1899),
    ("Bee house", 2250),
    ("Garden gloves", 799),
    ("Hand fork", 1349),
    ("Dibber", 985),
    ("Trug", 3450),
    ("Kneeler", 1999),
    ("Watering rose", 1160),
    ("Fleece", 675),
    ("Tomato feed", 510),
    ("Bulb fibre", 435),
    ("Moss pole", 1075),
)
"""Invented goods: what they are, and about what they cost in pence."""

COLOURS = ("green", "natural", "red", "cream", "blue", "grey", "rust", "plum")
SIZES = ("S", "M", "L", "XL", "50m", "100m", "1 lb", "500g", "A", "B")
FIRST = (
    "Mrs",
    "Mr",
    "Miss",
    "Ms",
    "Dr",
    "J.",
    "A.",
    "P.",
    "R.",
    "M.",
    "Edie",
    "Colin",
    "Wilma",
    "Otis",
    "Nell",
)
LAST = (
    "Quillfeather",
    "Marrowby",
    "Tansleigh",
    "Brackwater",
    "Oddingway",
    "Penhallick",
    "Thistlewick",
    "Umbershaw",
    "Greenacker",
    "Wrenfold",
    "Dapplemere",
    "Hobbleton",
    "Kettlesby",
    "Fennimoor",
    "Sallowes",
    "Applegarthe",
    "Bramblecote",
    "Nettleham-Roe",
    "Larkwhistle",
    "Cobbledick",
)
STREETS = (
    "Larkspur Row",
    "Tinder Lane",
    "Old Quince Street",
    "Pottle Hill",
    "Damson Yard",
    "Candlewick Road",
    "Hasp Lane",
    "Upper Wickets",
    "Bobbin Terrace",
    "Sorrel Close",
    "Teasel Way",
    "Mistletoe Mews",
)
TOWNS = ("Nether Marrow", "Quincebury", "Wickhollow", "Thrupton Bower", "Little Haspen", "Pottlesham")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a slip's design leaves room for."""

    roles: tuple[str, ...]
    """Column roles in order."""
    rows: int
    totals: tuple[str, ...]
    """Roles of the totals block from top to bottom; the last is ``total``."""
    split: bool
    """Pounds and pence have a box each."""
    printed_pound: bool
    printed_point: bool
    code_style: str
    percent: float | None = None
    """What is printed beside the discount's box: so much of the goods in a hundred."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One box with something written in it.

    ``text`` is what stands there (``"4|99"`` where pounds and pence have a box each, ``'"'`` for a ditto
    mark); ``value`` is what it means; ``corrected_from`` was written first and crossed out.
    """

    role: str
    row: int | None
    text: str
    value: int | str
    struck_out: bool = False
    corrected_from: str | None = None


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line as the customer means it; None is an empty box."""

    row: int
    code: str | None
    description: str | None
    quantity: int | None
    unit_price: int | None
    line_total: int | None
    struck_out: bool = False
    extra: tuple[tuple[str, str], ...] = ()

    @property
    def right_total(self) -> int:
        """Quantity times price; an empty quantity is one."""
        return (1 if self.quantity is None else self.quantity) * (self.unit_price or 0)


@dataclass(frozen=True, slots=True)
class Order:
    """One filled slip: what is written in its boxes and what it means."""

    lines: tuple[OrderLine, ...]
    charges: tuple[tuple[ChargeKind, int], ...]
    written_total: int | None
    computed_total: int
    mistake: str | None
    entries: tuple[Entry, ...]
    name: str
    address: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Habits:
    """How one customer writes money and fills in a slip."""

    joint: str = "."
    pound_sign: bool = False
    whole: str = ".00"
    small: str = "0."
    blank_totals: bool = False
    blank_ones: bool = False
    ditto: bool = False
    strike: bool = False
    correct: int = 0
    no_total: bool = False
    times_sign: str = ""
    first_price: Literal["", "whole pounds", "pence"] = ""


def random_habits(rng: np.random.Generator) -> Habits:
    """Draw one customer's habits."""
    first: list[Literal["", "whole pounds", "pence"]] = ["", "", "", "whole pounds", "pence"]
    return Habits(
        joint=str(rng.choice([".", "-", ","], p=[0.82, 0.16, 0.02])),
        pound_sign=bool(rng.random() < 0.2),
        whole=str(rng.choice([".00", "", "-"], p=[0.72, 0.14, 0.14])),
        small=str(rng.choice(["0.", ".", "p"], p=[0.45, 0.3, 0.25])),
        blank_totals=bool(rng.random() < 0.1),
        blank_ones=bool(rng.random() < 0.12),
        ditto=bool(rng.random() < 0.1),
        strike=bool(rng.random() < 0.12),
        correct=int(rng.random() < 0.16),
        no_total=bool(rng.random() < 0.04),
        times_sign=str(rng.choice(["", "x after", "x before"], p=[0.95, 0.025, 0.025])),
        first_price=first[int(rng.integers(len(first)))],
    )


MISTAKES = (
    "product",
    "carry",
    "swap",
    "decimal",
    "left_out",
    "twice",
    "charge_forgotten",
    "discount_added",
    "digit",
)
"""Ways in which sums go wrong: one line's product; a carry lost or added in the sum; two digits of the total
swapped; the point one place off; a line left out or taken twice; a charge not added (a discount not taken
off); a discount added; some digit of the total wrong."""


def money_text(pence: int, habits: Habits, wanted: Wanted) -> str:
    """Write an amount the way this customer does, in the boxes this slip has."""
    pounds, part = divmod(pence, 100)
    if wanted.split:
        if pounds == 0:
            return ("0|" if habits.small == "0." else "|") + f"{part:02d}"
        return f"{pounds}|" + ("-" if part == 0 and habits.whole == "-" else f"{part:02d}")
    if wanted.printed_point:
        return f"{pounds if pounds or habits.small == '0.' else ''}|{part:02d}"
    sign = "£" if habits.pound_sign and not wanted.printed_pound else ""
    if pounds == 0:
        if habits.small == "p":
            return f"{part}p"
        return (
            sign + ("0" if habits.small == "0." or habits.joint == "-" else "") + habits.joint + f"{part:02d}"
        )
    if part == 0 and habits.whole != ".00":
        return f"{sign}{pounds}{habits.whole}"
    return f"{sign}{pounds}{habits.joint}{part:02d}"


def make_code(index: int, page: int, style: str) -> str:
    """The code of a catalogue item, printed in the catalogue in this style."""
    number = (index * 7919 + 1237) % 9000 + 100
    if style == "dashed":
        return f"{100 + number % 700}-{(number * 31) % 900 + 100}"
    if style == "slashed":
        return f"{page}/{number % 90 + 10}"
    if style == "four":
        return f"{number % 9000 + 1000}"
    return f"{number * 97 % 400000:06d}"


def _price(base: int, rng: np.random.Generator) -> int:
    """A shop's price near `base`."""
    raised = int(base * rng.uniform(0.7, 1.5))
    end = int(
        rng.choice(
            [99, 95, 50, 49, 25, 75, 0, 20, 85, 60],
            p=[0.2, 0.15, 0.2, 0.08, 0.1, 0.07, 0.08, 0.04, 0.04, 0.04],
        )
    )
    return max(35, raised // 100 * 100 + end)


def make_order(
    wanted: Wanted,
    rng: np.random.Generator,
    habits: Habits,
    mistake: str | None = None,
    filled: int | None = None,
) -> Order:
    """Fill in one slip.

    Parameters
    ----------
    mistake
        One of :data:`MISTAKES`, or None for a slip that adds up. A mistake that this slip has no room for (no
        delivery to forget) becomes a lost carry.
    filled
        Rows with something in them; drawn at random when None.
    """
    count = min(filled or int(np.clip(rng.poisson(3.2) + 2, 2, 10)), wanted.rows)
    lines = _lines(wanted, rng, habits, count)
    counted = [line for line in lines if not line.struck_out]
    charges = _charges(wanted, sum(line.right_total for line in counted), rng, mistake)
    lines, goods, total, mistake = _add_up(lines, charges, mistake, rng)
    right = sum(line.right_total for line in lines if not line.struck_out) + sum(a for _, a in charges)
    if habits.blank_totals and mistake != "product":
        blank = [line.row for line in lines if rng.random() < 0.5]
        lines = [replace(line, line_total=None) if line.row in blank else line for line in lines]
    written_total = None if habits.no_total and mistake is None else total
    if written_total is None or written_total == right:
        mistake = None
    entries = _entries(lines, charges, goods, written_total, wanted, habits, rng)
    name = f"{rng.choice(FIRST)} {rng.choice(LAST)}"
    address = (f"{int(rng.integers(1, 99))} {rng.choice(STREETS)}", str(rng.choice(TOWNS)))
    return Order(tuple(lines), tuple(charges), written_total, right, mistake, tuple(entries), name, address)


def _lines(wanted: Wanted, rng: np.random.Generator, habits: Habits, count: int) -> list[OrderLine]:
    picked = rng.choice(len(PRODUCTS), count, replace=False).tolist()
    struck = int(rng.integers(count)) + 1 if habits.strike and count > 2 else None
    lines: list[OrderLine] = []
    for row, index in enumerate(picked, 1):
        product, base = PRODUCTS[index]
        page = index // 3 + 2
        price = _price(base, rng)
        quantity: int | None = int(
            rng.choice(
                [1, 2, 3, 4, 5, 6, 10, 12, 24], p=[0.4, 0.26, 0.12, 0.07, 0.04, 0.05, 0.03, 0.02, 0.01]
            )
        )
        code = make_code(index, page, wanted.code_style)
        if row == 1 and habits.first_price == "whole pounds":
            price = max(100, price // 100 * 100)
        elif row == 1 and habits.first_price == "pence":
            price = 35 + price % 13 * 5
        if habits.ditto and lines and rng.random() < 0.45:
            product, price = lines[-1].description or product, lines[-1].unit_price or price
        total = (quantity or 1) * price
        if quantity == 1 and habits.blank_ones and rng.random() < 0.7:
            quantity = None
        extra = []
        if "size" in wanted.roles:
            extra.append(("size", str(rng.choice(SIZES))))
        if "page" in wanted.roles:
            extra.append(("page", str(page)))
        if "other" in wanted.roles:
            extra.append(("other", str(rng.choice(COLOURS))))
        lines.append(
            OrderLine(
                row,
                code if "code" in wanted.roles else None,
                product if "description" in wanted.roles else None,
                quantity,
                price,
                total,
                row == struck,
                tuple(extra),
            )
        )
    return lines


def _charges(
    wanted: Wanted, goods: int, rng: np.random.Generator, mistake: str | None
) -> list[tuple[ChargeKind, int]]:
    charges: list[tuple[ChargeKind, int]] = []
    chance = 1.0 if mistake in ("charge_forgotten", "discount_added") else 0.7
    if "delivery" in wanted.totals and rng.random() < chance:
        charges.append(("delivery", int(rng.choice([150, 195, 250, 295, 350, 395, 450, 500]))))
    if "discount" in wanted.totals and rng.random() < chance:
        off = max(50, min(int(rng.choice([100, 150, 200, 250, 500])), goods // 3 // 50 * 50))
        if wanted.percent is not None:
            off = math.floor(goods * wanted.percent / 100 + 0.5)
        charges.append(("discount", -off))
    if "deposit" in wanted.totals and rng.random() < 0.6:
        charges.append(
            ("deposit", -max(100, min(int(rng.choice([200, 500, 1000])), goods // 2 // 100 * 100)))
        )
    return charges


def _add_up(
    lines: list[OrderLine],
    charges: Sequence[tuple[ChargeKind, int]],
    mistake: str | None,
    rng: np.random.Generator,
) -> tuple[list[OrderLine], int, int, str | None]:
    """Add up as this customer does; returns lines, written goods total, written total, the mistake made."""
    counted = [line for line in lines if not line.struck_out]
    goods = sum(line.right_total for line in counted)
    extra = sum(amount for _, amount in charges)
    right = goods + extra
    discounts = [a for kind, a in charges if kind == "discount"]
    if mistake == "discount_added" and discounts:
        return lines, goods, right - 2 * discounts[0], mistake
    if mistake == "charge_forgotten" and charges:
        return lines, goods, right - charges[int(rng.integers(len(charges)))][1], mistake
    if mistake == "product":
        several = [line for line in counted if (line.quantity or 1) > 1] or counted
        chosen = several[int(rng.integers(len(several)))]
        steps = [10, -10, 100, -100, 1000, chosen.unit_price or 100, -(chosen.unit_price or 100)]
        fit = [s for s in steps if chosen.right_total + s > 0]
        wrong = chosen.right_total + fit[int(rng.integers(len(fit)))]
        lines = [replace(line, line_total=wrong) if line.row == chosen.row else line for line in lines]
        off = wrong - chosen.right_total
        return lines, goods + off, right + off, mistake
    off = _slip_in_sum(mistake, counted, right, rng)
    if mistake in ("discount_added", "charge_forgotten"):
        mistake = "carry"
    if mistake in ("left_out", "twice", "carry") and goods + off > 0:
        return lines, goods + off, right + off, mistake
    return lines, goods, right + off, mistake


def _slip_in_sum(
    mistake: str | None, counted: Sequence[OrderLine], right: int, rng: np.random.Generator
) -> int:
    """How far the written total is off."""
    if mistake is None:
        return 0
    carry = [s for s in (10, -10, 100, -100, 1000, -1000) if right + s > 100]
    if mistake in ("left_out", "twice") and len(counted) > 1:
        line = counted[int(rng.integers(len(counted)))].right_total
        if right - line < 100:
            line = min(one.right_total for one in counted)
        return -line if mistake == "left_out" else line
    digits = str(right)
    if mistake == "swap":
        places = [
            i
            for i in range(len(digits) - 1)
            if digits[i] != digits[i + 1] and not (i == 0 and digits[1] == "0")
        ]
        if places:
            i = places[int(rng.integers(len(places)))]
            return int(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]) - right
    if mistake == "decimal":
        return right // 10 - right if right % 10 == 0 and right > 1000 else 9 * right
    if mistake == "digit":
        i = int(rng.integers(len(digits)))
        new = str((int(digits[i]) + int(rng.integers(1, 9))) % 10)
        if not (i == 0 and new == "0"):
            return int(digits[:i] + new + digits[i + 1 :]) - right
    return carry[int(rng.integers(len(carry)))]


def _entries(
    lines: Sequence[OrderLine],
    charges: Sequence[tuple[ChargeKind, int]],
    goods: int,
    written_total: int | None,
    wanted: Wanted,
    habits: Habits,
    rng: np.random.Generator,
) -> list[Entry]:
    """Every box with something in it."""
    entries: list[Entry] = []
    for i, line in enumerate(lines):
        above = lines[i - 1] if i else None
        strike = line.struck_out
        same = habits.ditto and above is not None and not above.struck_out and not strike
        if line.code is not None:
            entries.append(Entry("code", line.row, line.code, line.code, strike))
        if line.description is not None:
            repeat = same and above is not None and above.description == line.description
            entries.append(
                Entry("description", line.row, '"' if repeat else line.description, line.description, strike)
            )
        if line.quantity is not None:
            text = {"": "{}", "x after": "{}x", "x before": "x{}"}[habits.times_sign].format(line.quantity)
            entries.append(Entry("quantity", line.row, text, line.quantity, strike))
        if line.unit_price is not None:
            repeat = same and above is not None and above.unit_price == line.unit_price
            text = '"' if repeat else money_text(line.unit_price, habits, wanted)
            entries.append(Entry("unit_price", line.row, text, line.unit_price, strike))
        if line.line_total is not None:
            entries.append(
                Entry(
                    "line_total",
                    line.row,
                    money_text(line.line_total, habits, wanted),
                    line.line_total,
                    strike,
                )
            )
        entries += [Entry(role, line.row, text, text, strike) for role, text in line.extra]
    if "goods" in wanted.totals and rng.random() < 0.88:
        entries.append(Entry("goods", None, money_text(goods, habits, wanted), goods))
    for kind, amount in charges:
        entries.append(Entry(kind, None, money_text(abs(amount), habits, wanted), abs(amount)))
    if written_total is not None:
        entries.append(Entry("total", None, money_text(written_total, habits, wanted), written_total))
    return _corrected(entries, habits, wanted, rng)


def _corrected(entries: list[Entry], habits: Habits, wanted: Wanted, rng: np.random.Generator) -> list[Entry]:
    """Cross one number out and write another beside it, as often as this customer's habits say."""
    for _ in range(habits.correct):
        fit = [
            i
            for i, e in enumerate(entries)
            if e.role in ("unit_price", "line_total", "total")
            and not e.struck_out
            and e.text != '"'
            and "|" not in e.text
        ]
        if not fit:
            break
        chosen = fit[int(rng.integers(len(fit)))]
        entry = entries[chosen]
        value = int(entry.value)
        step = int(rng.choice([10, 100, -10, 9, 90, 1000]))
        before = money_text(value + step if value + step > 0 else value + 10, habits, wanted)
        entries[chosen] = replace(entry, corrected_from=before)
    return entries
