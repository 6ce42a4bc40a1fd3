"""Which slips a person should look at, in what order, where to find them, and who would lose."""

from collections import Counter
from dataclasses import dataclass

from formread.slips import Report, Slip, Verdict


@dataclass(frozen=True, slots=True)
class Finding:
    """One slip of a report, and where it is.

    Attributes
    ----------
    number
        Its place in the report, from 1: the same slip has the same number in everything that goes out.
    place
        Photo, page where the file has several, and which slip where the page has several.
    """

    number: int
    slip: Slip
    place: str


def all_findings(report: Report) -> list[Finding]:
    """Every slip in the report's order."""
    on_page = Counter((slip.photo, slip.page) for slip in report.slips)
    pages: dict[str, set[int]] = {}
    for slip in report.slips:
        pages.setdefault(slip.photo, set()).add(slip.page)
    met: Counter[tuple[str, int]] = Counter()
    found = []
    for number, slip in enumerate(report.slips, 1):
        page = slip.photo, slip.page
        met[page] += 1
        place = slip.photo
        if pages[slip.photo] != {1}:
            place += f", page {slip.page}"
        if on_page[page] > 1:
            place += f", slip {met[page]} of {on_page[page]}"
        found.append(Finding(number, slip, place))
    return found


def to_look_at(report: Report, verdict: Verdict) -> list[Finding]:
    """The slips with this verdict, most money at stake first, then the largest difference."""
    return sorted(
        (finding for finding in all_findings(report) if finding.slip.verdict == verdict),
        key=lambda finding: (-finding.slip.at_stake, -abs(finding.slip.difference or 0), finding.number),
    )


def money_at_stake(report: Report) -> int:
    """Expected minor units lost by somebody on the wrong and the unsure slips if nothing is done."""
    return sum(slip.at_stake for slip in report.slips if slip.verdict != "agrees")


def loser(difference: int | None) -> str:
    """Who loses by this difference: ``customer``, ``you`` (the seller), or nobody (``""``)."""
    if not difference:
        return ""
    return "customer" if difference > 0 else "you"
