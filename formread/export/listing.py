"""The list of wrong totals for a terminal: what is wrong, by how much, who would lose it, and why.

Worst first, then the slips that formread is unsure about, then one line of counts. Plain text without colour,
so that it reads the same on a screen, in a file and through a pipe.
"""

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from formread.export.findings import Finding, loser, money_at_stake, to_look_at
from formread.money import Currency, currency, format_money
from formread.slips import Report

LEAST_WIDTH: Final = 30
"""Below this a terminal is taken to be this wide: an amount and its words must fit on a line."""

_MARGIN: Final = "  "
_GAP: Final = "   "

_PLAINER = {"\u00d7": "x", "\u2212": "-", "\u2013": "-", "\u2026": "...", "\u2019": "'", "\u00bd": "1/2"}
"""ASCII for signs that our own sentences may hold and an old terminal may not show."""


def listing(report: Report, width: int = 80, encoding: str = "utf-8") -> str:
    """Write the list of wrong totals.

    Parameters
    ----------
    width
        Columns of the terminal; no line is longer (but at least 30 are used).
    encoding
        What the terminal shows. Where it lacks the currency's sign, the ISO 4217 code stands in its place;
        any other sign that it lacks becomes ``?``.

    Returns
    -------
    str
        Lines with a newline after each; the last one counts the slips and the money at stake.
    """
    voice = _Voice.for_terminal(currency(report.currency), encoding)
    width = max(width, LEAST_WIDTH)
    wrong = to_look_at(report, "wrong")
    unsure = to_look_at(report, "unsure")
    lines: list[str] = []
    if wrong:
        lines += [*_wrapped("Wrong totals, most money first", width), ""]
        lines += _block(wrong, ("Right total", "Who loses"), width, voice)
        lines += [""]
    if unsure:
        lines += [*_wrapped("Unsure: please look at these slips yourself", width), ""]
        lines += _block(unsure, ("Likely total", "Look at"), width, voice)
        lines += [""]
    if not wrong and not unsure:
        lines += ["Every total agrees." if report.slips else "No slips were found.", ""]
    lines += _wrapped(_summary(report, voice), width)
    return "".join(f"{line.rstrip()}\n" for line in lines)


def problems_list(report: Report, width: int = 80, encoding: str = "utf-8") -> str:
    """Write one paragraph for each photo that gave no slip; ``""`` where there is none.

    The arguments are those of :func:`listing`.
    """
    voice = _Voice.for_terminal(currency(report.currency), encoding)
    width = max(width, LEAST_WIDTH)
    lines: list[str] = []
    for problem in report.problems:
        page = "" if problem.page is None else f", page {problem.page}"
        first, *more = _wrapped(voice.say(f"{problem.photo}{page}: {problem.message}"), width - 2)
        lines += [first, *(f"{_MARGIN}{line}" for line in more)]
    return "".join(f"{line}\n" for line in lines)


def _summary(report: Report, voice: "_Voice") -> str:
    verdicts = [slip.verdict for slip in report.slips]
    agree = verdicts.count("agrees")
    problems = len(report.problems)
    return (
        f"{_count(len(verdicts), 'slip')}: {agree} {'agrees' if agree == 1 else 'agree'}, "
        f"{verdicts.count('wrong')} wrong, {verdicts.count('unsure')} unsure; "
        f"{_count(problems, 'problem')}; {voice.money(money_at_stake(report))} at stake."
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


@dataclass(frozen=True)
class _Voice:
    """What the terminal can show."""

    money_unit: Currency
    encoding: str
    missing: tuple[tuple[str, str], ...]

    @classmethod
    def for_terminal(cls, unit: Currency, encoding: str) -> "_Voice":
        encoding = encoding if _known(encoding) else "ascii"
        missing = {sign: plain for sign, plain in _PLAINER.items() if not _shows(sign, encoding)}
        if not _shows(unit.symbol, encoding):
            missing[unit.symbol] = f"{unit.code} "
            unit = replace(unit, symbol="")
        return cls(unit, encoding, tuple(missing.items()))

    def say(self, text: str) -> str:
        """One line of text: control signs (a file name may hold them) never reach the terminal."""
        for sign, plain in self.missing:
            text = text.replace(sign, plain)
        text = "".join(sign if _harmless(sign) else " " for sign in text)
        return " ".join(text.encode(self.encoding, "replace").decode(self.encoding).split())

    def money(self, amount: int) -> str:
        return format_money(amount, self.money_unit)

    def total(self, amount: int | None) -> str:
        return "none" if amount is None else self.money(amount)

    def signed(self, amount: int | None) -> str:
        if amount is None:
            return "-"
        return f"+{self.money(amount)}" if amount > 0 else self.money(amount)

    def loss(self, difference: int | None) -> str:
        who = loser(difference)
        if difference is None or not who:
            return "-"
        return f"{who} {'lose' if who == 'you' else 'loses'} {self.money(abs(difference))}"


def _known(encoding: str) -> bool:
    try:
        "".encode(encoding)
    except LookupError:
        return False
    return True


def _shows(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _harmless(sign: str) -> bool:
    """Tell whether a sign can be printed without steering the terminal or turning the line round."""
    return unicodedata.category(sign) not in {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


def _block(findings: Sequence[Finding], headings: tuple[str, str], width: int, voice: _Voice) -> list[str]:
    """One entry a slip: its numbers as a row of a table, below it why and where.

    Where the table is wider than the terminal, each row becomes a small paragraph instead.
    """
    right, last = headings
    titles = ("Slip", "Customer's total", right, "Difference", last)
    rows = [
        (
            voice.say(finding.slip.slip_number or "") or "-",
            voice.total(finding.slip.written_total),
            voice.money(finding.slip.computed_total),
            voice.signed(finding.slip.difference),
            voice.loss(finding.slip.difference)
            if last == "Who loses"
            else voice.say(finding.slip.ask or "-"),
        )
        for finding in findings
    ]
    widths = [max(_columns(row[place]) for row in (titles, *rows)) for place in range(len(titles))]
    fits = len(_MARGIN) + sum(widths) + len(_GAP) * (len(widths) - 1) <= width
    lines = [_table_row(titles, widths)] if fits else []
    for finding, row in zip(findings, rows, strict=True):
        if fits:
            lines.append(_table_row(row, widths))
        else:
            lines += _indented([f"Slip {row[0]}: {row[4]}"], _MARGIN, width)
            numbers = (f"{title} {value}" for title, value in zip(titles[1:4], row[1:4], strict=True))
            lines += _indented([", ".join(numbers)], _MARGIN * 2, width)
        indent = _MARGIN + " " * (widths[0] + len(_GAP)) if fits else _MARGIN * 2
        lines += _indented([voice.say(finding.slip.reason), voice.say(finding.place)], indent, width)
    return lines


def _table_row(cells: Iterable[str], widths: Sequence[int]) -> str:
    """Words to the left, the three columns of money to the right."""
    padded = []
    for place, (cell, wide) in enumerate(zip(cells, widths, strict=True)):
        space = " " * (wide - _columns(cell))
        padded.append(space + cell if place in {1, 2, 3} else cell + space)
    return _MARGIN + _GAP.join(padded)


def _indented(paragraphs: Iterable[str], indent: str, width: int) -> list[str]:
    # A long slip number must not squeeze the words beside it to nothing.
    indent = indent[: width // 3]
    return [
        f"{indent}{line}"
        for paragraph in paragraphs
        for line in _wrapped(paragraph, width - len(indent))
        if paragraph
    ]


def _wrapped(text: str, width: int) -> list[str]:
    """Break between words so that no line is wider than `width` columns; only longer words are cut."""
    lines = [""]
    for word in text.split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if _columns(joined) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for sign in word:
            if _columns(lines[-1] + sign) > width:
                lines.append("")
            lines[-1] += sign
    return lines


def _columns(text: str) -> int:
    """Columns that a terminal uses: East Asian wide signs two, marks that sit on a letter none."""
    return sum(
        0 if unicodedata.category(sign) in {"Mn", "Me"} else 1 + (unicodedata.east_asian_width(sign) in "WF")
        for sign in text
    )
