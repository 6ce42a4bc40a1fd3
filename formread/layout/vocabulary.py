"""What order pads print above columns and beside totals, and how probable each word is on a piece of print.

The words are common practice on order pads (no source). A word is matched in two ways: by the recogniser's
own probabilities for that word (the CTC forward sum of Graves et al., ICML 2006), which finds a word that
the free reading got wrong by a letter or two; and, for wording that is not listed, by a learned reading of it
(`formread.layout.wording`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Generic, Literal, TypeVar

import numpy as np
import numpy.typing as npt
from rapidfuzz import fuzz, process

from formread.layout.record import ColumnRole, TotalRole
from formread.layout.wording import NOTHING as NO_ROLE
from formread.layout.wording import wording
from formread.ocr import PrintedText, alphabet

LabelRole = TotalRole | Literal["count"]
"""What a label of the totals block may speak of; ``count`` is a number of things, no money."""

Role = TypeVar("Role", bound=str)

_UNKNOWN_COST = 2.0  # nats: how much worse than the free reading a listed word may be before it is doubted
_UNKNOWN_PER_LETTER = 0.9  # nats a letter: a garbled letter costs about twice that
_SHORTLIST = 16  # phrases scored in full; the fuzzy match never ranked the right one lower in trials
_SIGN = 2  # letters of a heading that may be a mere sign
_WHOLE_ALIKE = 84  # of 100; one letter wrong in seven, over all lines
_WHOLE_KNOWN = 0.97
_OF_MORE = 0.3  # trust in a listed word that is but one line of several
_FLOOR = 1e-7  # the least probability of a character: print is never certain

_HEADINGS: dict[str, Mapping[ColumnRole, float]] = {}


def _heading(words: str, **roles: float) -> None:
    for word in words.split("|"):
        _HEADINGS[word] = roles  # type: ignore[assignment]


_heading(
    "qty|quantity|how many|quant|quan|qnty|units|number required|no. req'd|no req'd|qty req'd|"
    "no. reqd|no. required|no. off|no off|pieces|pcs|packs|how many?|number wanted|"
    "quantity ordered|qty ordered|number of items|no. of items|"
    "count|number taken|no. taken|number wanted|no. wanted|no. of sacks|no. of packs|no. of bags|"
    "how many wanted|pieces wanted|no. of pieces|number of pieces|boxes|bags|jars|tins|sets|copies|metres",
    quantity=1.0,
)
_heading("no.|no|number|nos|nos.|#", quantity=0.55, code=0.42, other=0.03)
_heading("price|price £", unit_price=0.8, line_total=0.2)
_heading("unit", unit_price=0.5, size=0.3, other=0.2)
_heading(
    "price each|unit price|each|price per item|unit cost|cost each|@|item price|single price|"
    "rate|ea|ea.|price ea.|price ea|price each £|unit price £|each £|per item|price per unit|price (each)|£ each|at|"
    "catalogue price|cat. price|our price|price per pack|list price|"
    "at £|cost of one|price of one|price for one|one costs|price a sack|"
    "price per item (£)|price per item £|price a piece|price a jar|price a pack|each (£)|single|£ per item|a piece|@ £",
    unit_price=1.0,
)
_heading(
    "total|amount|line total|total £|amount £|total price|total cost|total amount|item total|"
    "extension|sum|total (£)|row total|order value|total value|price total|totals|makes £|makes|comes to|comes to £|"
    "cost of all|price of all|price for all|extended price|extended price (£)|extended|line value|line value £|"
    "to pay|all together|together|in all|£ in all|sum £|value of line|amt|amt.|ext|ext.|extn.|amt £",
    line_total=1.0,
)
_heading("value|value £|cost £", line_total=0.8, unit_price=0.2)
_heading("cost", line_total=0.6, unit_price=0.4)
_heading("£|£ p|£p|£ : p|£. p|£ pence|pounds|pounds pence|£ pp", line_total=0.6, unit_price=0.4)
_heading("p|pence|pp", line_total=0.5, unit_price=0.5)
_heading(
    "code|item no.|item no|item code|cat. no.|cat no|cat. no|cat no.|catalogue no.|catalogue no|"
    "catalogue number|ref|ref.|ref. no.|ref no|reference|product code|stock no.|stock no|"
    "order no.|article no.|art. no.|item number|code no.|code no|stock code|order code|"
    "product no.|part no.|line no.|prod. code|cat. ref.|cat ref|cat.|catalogue ref|item ref|"
    "catalogue code|cat. code|article number|lot no.|lot number|lot|pattern|pattern no.|pattern number|order number|stock number|"
    "stock ref.|our ref.|number in catalogue|no. in catalogue|no. in list|list no.|design no.|item ref.|code number",
    code=1.0,
)
_heading("page|page no.|page no|pg|pg.|cat. page|catalogue page|page number", page=1.0)
_heading("size|sizes|size/colour|size & colour|size or colour|size / colour|weight|width", size=1.0)
_heading(
    "colour|color|shade|colour choice|col.|col|row|line|vat|tick|office use|notes|remarks|"
    "1st choice|2nd choice|in stock|packed|done|for office use|✓|initial|paid|due",
    other=1.0,
)
_heading(
    "description|item description|details|particulars|product|goods|article|description of goods|"
    "item name|product name|name of item|product description|what|articles|items|items ordered|"
    "goods ordered|name of article|title|description of item|descr.|desc.|desc|goods required|"
    "item & description|what you would like|name|variety|flavour|product / description|"
    "description of lot|piece|title of piece|kind|sort|contents|"
    "what|which|goods wanted|name of goods|what you want",
    description=1.0,
)
_heading("item", description=0.8, code=0.2)

_TOTALS: dict[str, Mapping[LabelRole, float]] = {}


def _total(words: str, **roles: float) -> None:
    for word in words.split("|"):
        _TOTALS[word] = roles  # type: ignore[assignment]


_total(
    "goods total|sub-total|subtotal|sub total|total goods|goods|total of goods|goods value|"
    "value of goods|total for goods|items total|total of items|goods total £|sub-total £|"
    "order subtotal|sum of goods|goods sum|total of lines|net total|goods in all|all goods|price of goods|"
    "cost of goods|goods £|goods (£)|lines total",
    goods=1.0,
)
_total("items", goods=0.4, count=0.6)
_total("order value|order total|sum", goods=0.5, total=0.5)
_total(
    "delivery|delivery charge|carriage|postage|post|p&p|p & p|post & packing|postage & packing|"
    "postage and packing|post and packing|shipping|delivery fee|plus delivery|add delivery|"
    "delivery £|carriage £|postage £|post £|add carriage|add postage|+ delivery|plus postage|"
    "plus carriage|delivery cost|small order charge|carriage charge|p. & p.|p and p|packing|"
    "charge|delivery (if any)|handling|carriage paid|van delivery|post|box & post|box and post|registered post|"
    "registered post £|packing & post|carr.|freight|delivery £|to your door|by post|haulage|van|by van|van charge|carrier|"
    "carriage by rail|carriage & packing|posting|dispatch|despatch|our van",
    delivery=1.0,
)
_total(
    "discount|less discount|discount £|minus discount|less discount %|discount (if any)|"
    "- discount|less: discount|money off|less voucher|voucher|rebate|less money off|less offer|"
    "reduction|allowance|loyalty discount|club discount|member discount|trade discount|discount (minus)|less returns|returns|"
    "less credit note|credit note|minus voucher|bonus|less club saving|saving|savings|less saving|less allowance|club saving|"
    "less rebate|less reduction|gift token|less gift token|less empties|empties returned",
    discount=1.0,
)
_total(
    "deposit|less deposit|paid|deposit paid|amount paid|paid on account|less paid|already paid|"
    "less already paid|less deposit paid|paid already|less amount paid|part paid|prepaid|"
    "cash paid|received|deposit £|paid £|deposit taken|paid to date|paid with order|less deposit|minus deposit|"
    "deposit (minus)|in advance|paid in advance|on account|less already paid|paid at order|paid when ordering|paid before|"
    "less paid before|payment received|less payment",
    deposit=1.0,
)
_total("less|minus|credit", discount=0.6, deposit=0.4)
_total(
    "grand total|total due|amount due|to pay|total to pay|balance|balance due|"
    "please pay|amount payable|total amount|total payable|amount to pay|to pay £|now due|pay|"
    "total now due|payable|you pay|total order|order total £|sum due|amount owing|still to pay|"
    "left to pay|total price|final total|total to be paid|customer pays|grand total £|"
    "total owing|total cost|balance to pay|total amount due|all together|altogether|to be paid|"
    "total incl. delivery|total with delivery|in all|to pay altogether|to pay in all|amount now due|to pay on collection|"
    "to pay on delivery|pay on collection|total to collect|please pay £|all to pay|balance due £|comes to|"
    "total of all|sum to pay|i enclose|amount enclosed|cheque for|cheque enclosed for",
    total=1.0,
)
_total("total|total £", total=0.8, goods=0.2)  # "total, less deposit, left to pay"
_total("amount|balance c/f", total=0.7, other=0.3)
_total(
    "number of items|no. of items|number of pieces|no. of pieces|total quantity|total items|office code|office use|"
    "for office use|points|number of parcels|parcels|items in all|pieces in all|how many in all",
    count=1.0,
)
_total(
    "vat|tax|of which vat|other|other charges|extra|extras|insurance|surcharge|tip|donation|bag|gift wrap",
    other=1.0,
)


@dataclass(frozen=True, slots=True)
class Match(Generic[Role]):
    """What a piece of print may mean.

    Attributes
    ----------
    known
        Probability that the print names one of the roles at all.
    roles
        Probabilities of the roles, given that it does; they sum to one (empty when nothing is printed).
    word
        The likeliest listed word.
    """

    known: float
    roles: Mapping[Role, float]
    word: str


NOTHING: Match[LabelRole] = Match(0.0, {}, "")
"""What nothing printed means."""


def _spellings(phrase: str) -> list[str]:
    forms = [phrase, phrase.capitalize(), phrase.title(), phrase.upper()]
    forms += [form.replace(" ", "") for form in forms]
    forms += [form + ":" for form in forms[:4]]
    return list(dict.fromkeys(forms))


@cache
def _codes() -> dict[str, int]:
    codes: dict[str, int] = {}
    for k, character in enumerate(alphabet()):
        codes.setdefault(character, k + 1)
    return codes


def log_likelihood(scores: npt.NDArray[np.float32], texts: Sequence[str]) -> npt.NDArray[np.float64]:
    """Return the log probability of each text on one crop.

    Parameters
    ----------
    scores
        (T, C) CTC probabilities of the recogniser, the blank in column 0.
    texts
        The N texts asked about. A text with a character that the recogniser lacks gets ``-inf``, as does one
        that is too long for T steps.

    Returns
    -------
    (N,) float64

    References
    ----------
    Graves, Fernández, Gomez, Schmidhuber (2006), Connectionist temporal classification, section 4.1.
    """
    codes = _codes()
    labels = [[codes.get(c, -1) for c in text] for text in texts]
    longest = max((len(label) for label in labels), default=0)
    states = 2 * longest + 1
    symbol = np.zeros((len(texts), states), np.intp)
    possible = np.ones(len(texts), bool)
    for n, label in enumerate(labels):
        possible[n] = -1 not in label
        symbol[n, 1 : 2 * len(label) : 2] = [max(code, 0) for code in label]
    skip = np.zeros((len(texts), states), bool)
    skip[:, 3::2] = symbol[:, 3::2] != symbol[:, 1:-2:2]
    skip &= symbol != 0
    emission = np.maximum(scores.astype(np.float64), _FLOOR)
    alpha = np.zeros((len(texts), states))
    alpha[:, 0] = emission[0, 0]
    if states > 1:
        alpha[:, 1] = emission[0, symbol[:, 1]]
    log = np.zeros(len(texts))
    for t in range(1, len(emission)):
        moved = alpha.copy()
        moved[:, 1:] += alpha[:, :-1]
        moved[:, 2:] += np.where(skip[:, 2:], alpha[:, :-2], 0.0)
        alpha = moved * emission[t][symbol]
        scale = np.maximum(alpha.max(axis=1), 1e-300)
        alpha /= scale[:, None]
        log += np.log(scale)
    ends = np.array([2 * len(label) for label in labels])
    rows = np.arange(len(texts))
    final = alpha[rows, ends] + np.where(ends > 0, alpha[rows, np.maximum(ends - 1, 0)], 0.0)
    result = np.where(possible & (final > 0), log + np.log(np.maximum(final, 1e-300)), -np.inf)
    return np.asarray(result, np.float64)


def _plain(text: str) -> str:
    return " ".join(text.lower().replace(":", " ").replace("_", " ").split())


def listed(kind: str) -> Mapping[str, Mapping[Any, float]]:
    """Return the listed words of ``heading`` or ``label``, each with the probabilities of its roles."""
    return _HEADINGS if kind == "heading" else _TOTALS


def _match(
    prints: Sequence[PrintedText], words: Mapping[str, Mapping[Role, float]], kind: str
) -> Match[Role]:
    """Match the lines of print of one cell, or one label: as a listed word, else by a learned reading of its wording."""
    lines = [read for read in prints if _plain(read.text)]
    if not lines:
        return Match(0.0, {}, "")
    text = _plain(" ".join(read.text for read in lines))
    found = max((_match_line(read, words) for read in lines), key=lambda match: match.known)
    if len(lines) > 1:
        close = process.extractOne(text, words.keys(), scorer=fuzz.ratio, score_cutoff=_WHOLE_ALIKE)
        if close is not None and len(close[0]) > len(found.word):
            found = Match(_WHOLE_KNOWN, words[close[0]], close[0])
        else:
            found = Match(_OF_MORE * found.known, found.roles, found.word)
    told: dict[Role, float] = {}
    for role, share in wording(kind)(text).items():
        if role != NO_ROLE:
            told[role] = (1 - found.known) * share  # type: ignore[index]
    for role, share in found.roles.items():
        told[role] = told.get(role, 0.0) + found.known * share
    known = sum(told.values())
    return Match(known, {role: share / known for role, share in told.items()}, found.word)


def _match_line(read: PrintedText, words: Mapping[str, Mapping[Role, float]]) -> Match[Role]:
    """Say how probable it is that a line of print is a listed word, and what it then means."""
    text = _plain(read.text)
    short = [word for word, _, _ in process.extract(text, words.keys(), scorer=fuzz.ratio, limit=_SHORTLIST)]
    if len(text) <= _SIGN:  # "@" read as 6 has no letter in common with itself
        short += [word for word in words if len(word) <= _SIGN and word not in short]
    spelled = [(form, word) for word in short for form in _spellings(word)]
    likelihood = log_likelihood(read.scores, [form for form, _ in spelled])
    free = float(np.log(np.maximum(read.scores.max(axis=1), _FLOOR)).sum())
    unknown = free - _UNKNOWN_COST - _UNKNOWN_PER_LETTER * len(text)
    by_word: dict[str, float] = {}
    for value, (_, word) in zip(likelihood, spelled, strict=True):
        by_word[word] = max(by_word.get(word, -np.inf), float(value))
    top = max(by_word, key=lambda word: by_word[word])
    weights = {word: np.exp(value - max(by_word[top], unknown)) for word, value in by_word.items()}
    total = sum(weights.values())
    known = total / (total + np.exp(unknown - max(by_word[top], unknown)))
    roles: dict[Role, float] = {}
    for word, weight in weights.items():
        for role, share in words[word].items():
            roles[role] = roles.get(role, 0.0) + float(share * weight / max(total, 1e-300))
    return Match(float(known), roles, top)


def match_heading(prints: Sequence[PrintedText]) -> Match[ColumnRole]:
    """Say what the print above a column may mean; `prints` are its lines from top to bottom."""
    return _match(prints, _HEADINGS, "heading")


def is_heading(text: str) -> bool:
    """Say whether a text is, nearly letter by letter, one of the listed headings."""
    return process.extractOne(_plain(text), _HEADINGS.keys(), scorer=fuzz.ratio, score_cutoff=90) is not None


def match_total(prints: Sequence[PrintedText]) -> Match[LabelRole]:
    """Say what the print beside a box of the totals block may mean; `prints` are its lines from top to bottom."""
    return _match(prints, _TOTALS, "label")
