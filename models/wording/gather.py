"""Gather what the tune pads print, and what each text speaks of.

    python -m models.wording.gather models/wording/labels.json

Each pad is shown once by the browser (``gather.js`` lists its texts). The heading of a column is what stands right above
its first box, or in it; the label of a total what stands left of its box in its line, above it, or in it; all else that
might be taken for one of them is told to be nothing. The file is {pad: {"designer", "headings", "labels", "nothing"}}: pairs
of a text and its role, and texts; a line break in a text is one in print. Who designed a pad the file must be told:
it keeps the letters that it has.
"""

import argparse
import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from formread.layout.vocabulary import listed
from tests.measure.fresh_forms.render import CSS_DPI, pads, render

_SCRIPT = Path(__file__).with_name("gather.js")
_BAND = 0.25
"""Heights of a box over and under it where a label may stand that is said to be in its line."""
_LABEL_REACH = 0.55
_LABEL_OVER = 1.3
_OVER_COSTS = 0.15
"""Of the paper's width: a label so far left of its box is as likely as one right over it."""
_HEADING_REACH = 4.0
_HEADING_NEAR = 2.2
"""Of a box's height: how far over the first one the lowest line of its heading ends at most."""
_OF_TWO = frozenset({"in all", "add down the columns →", "fill in last → number of items, and total to pay"})
"""Labels of the number of things that speak of the bare box of the money beside it, too."""
_UNDER_COSTS = 40
"""CSS pixels: wording in a row speaks of the box over it only where no other is near."""
_HEADING_GAP = 0.5
"""Of a line's height: lines further apart are not one heading."""
_HEADING_SIZE = 1.7
"""Times as high as the lowest line of a heading no other line of it is."""
_SENTENCE_WORDS = 6
"""A longer text with a full stop is neither a heading nor a label."""
_MOST_WORDS = 14
"""A longer text is a paragraph that nobody takes for a label; the words of it that stand next to a box are one."""

Rect = Sequence[float]
Text = dict[str, Any]


def shown(pad: Path, chromium: str = "chromium") -> dict[str, Any]:
    """Return the places of a pad with its texts, in CSS pixels."""
    page = pad.read_text(encoding="utf-8")
    at = page.index('<script src="../pad.js">')
    script = f"<script>{_SCRIPT.read_text(encoding='utf-8')}</script>"
    return render(pad, chromium, CSS_DPI, page[:at] + script + page[at:])[1]


def _joined(text: Text) -> str:
    return "\n".join(line["text"] for line in text["lines"])


def _around(text: Text) -> Rect:
    rects = [line["rect"] for line in text["lines"]]
    return [
        min(r[0] for r in rects),
        min(r[1] for r in rects),
        max(r[2] for r in rects),
        max(r[3] for r in rects),
    ]


def _speaks_of_field(place: Rect, fields: Sequence[Rect]) -> bool:
    """Say whether a text names a line for the customer's name or the like: the line begins where the text ends."""
    left, top, right, bottom = place
    middle = (top + bottom) / 2
    return any(f[1] - 3 <= middle <= f[3] + 3 and left <= f[0] + 3 and right > f[0] - 40 for f in fields)


def _worded(text: Text) -> bool:
    """Say whether a text is more than a sign of money or of sums, a box to tick, or a dot."""
    said = _joined(text).lower()
    signs = re.fullmatch(r"[\s£:.|]*(p|pence|x)[\s:.|]*", said)
    return any(c.isalpha() for c in said) and signs is None and "☐" not in said


def _sentence(text: Text) -> bool:
    """Say whether a text tells how to fill the form in: it ends like a sentence and is as long as one."""
    said = _joined(text)
    return re.search(r"[\w)]\.$", said) is not None and len(said.split()) > _SENTENCE_WORDS


def _without_number(text: Text, second: set[str]) -> str:
    """Return what a text of the first row says but for the row's number, which is another in the `second` row."""
    said = _joined(text)
    if re.sub(r"\b1\b", "2", said) == said or re.sub(r"\b1\b", "2", said) not in second:
        return said
    bare = " ".join(re.sub(r"\b1\b", "", said).split())
    return bare if len(bare.split()) > 1 else ""


def _beside(place: Rect, first: Sequence[dict[str, Any]]) -> int | None:
    """Return which box of a row that carries its own wording a text speaks of: the nearest right of it or under it."""
    x, y = (place[0] + place[2]) / 2, (place[1] + place[3]) / 2
    best, near = None, float("inf")
    for n, box in enumerate(first):
        left, top, right, bottom = box["rect"]
        if left <= x <= right and top <= y <= bottom:
            return n
        if top - 3 <= y <= bottom + 3 and place[2] <= left + 4:
            away = (left - place[2]) / 2
        elif left <= x <= right:
            away = top - place[3] if y < top else _UNDER_COSTS + place[1] - bottom
        else:
            continue
        if away < near:
            best, near = n, away
    return best


def headings(places: dict[str, Any]) -> tuple[list[tuple[str, str]], list[int]]:
    """Return the heading of each column with its role, and which texts they are made of."""
    found, used = [], []
    first = [box for box in places["boxes"] if box["row"] == 1]
    fields = [field["rect"] for field in places["fields"]]
    second = [box for box in places["boxes"] if box["row"] == 2]
    below = {_joined(text) for text in places["texts"] if text["row"] == 2}
    spoken = [
        _beside(_around(text), first) if text["row"] == 1 and text["role"] is None else None
        for text in places["texts"]
    ]
    for n, box in enumerate(first):
        index = places["boxes"].index(box)
        left, top, right, bottom = box["rect"]
        pitch = min((b["rect"][1] - top for b in second if b["rect"][1] > top), default=bottom - top)
        pitch = min(pitch, 2 * (bottom - top))  # of a card for each line it is the card's
        over = []
        for k, text in enumerate(places["texts"]):
            mine = text["box"] == index or (text["box"] is None and spoken[k] == n)
            mine = mine or (text["role"] == box["role"] and _around(text)[0] <= right)
            if text["row"] == 1 and mine and _worded(text) and _without_number(text, below):
                over.append((k, text, _around(text)))
        inside = bool(over)
        if not inside:
            for k, text in enumerate(places["texts"]):
                place = _around(text)
                x = (place[0] + place[2]) / 2
                fits = left - 3 <= x <= right + 3 and place[2] - place[0] < 1.35 * (right - left) + 6
                near = top - _HEADING_REACH * pitch < place[1] and place[3] <= top + 0.35 * (bottom - top)
                free = text["row"] is None and text["role"] is None and not _speaks_of_field(place, fields)
                free = free and not _sentence(text)
                if free and fits and near:
                    over.append((k, text, place))
        over.sort(key=lambda item: -item[2][3])
        stack: list[tuple[int, Text, Rect]] = []
        for item in over:
            r = item[1]["lines"][-1]["rect"]
            high = r[3] - r[1]
            if not stack and not inside and top - item[2][3] > _HEADING_NEAR * (bottom - top):
                break
            if stack and not inside:
                if min(s[2][1] for s in stack) - item[2][3] > _HEADING_GAP * high:
                    break
                lowest = stack[0][1]["lines"][-1]["rect"]
                if high > _HEADING_SIZE * (lowest[3] - lowest[1]):
                    break
            stack.append(item)
        stack.sort(key=lambda item: (round(item[2][1] / 4), item[2][0]))
        if stack:
            found.append(("\n".join(_without_number(text, below) for _, text, _ in stack), box["role"]))
            used += [k for k, _, _ in stack]
    return found, used


def labels(
    places: dict[str, Any], width: float, taken: Sequence[int] = ()
) -> tuple[list[tuple[str, str]], list[int]]:
    """Return the label of each total with its role, and which texts they are made of; headings are `taken`.

    A text that speaks of two boxes ("items and total") is the label of neither.
    """
    chosen: list[tuple[int, int, int, list[tuple[float, int, int]]]] = []
    fields = [field["rect"] for field in places["fields"]]
    totals = [
        (k, box) for k, box in enumerate(places["boxes"]) if box["row"] is None and box["role"] != "serial"
    ]
    for index, box in totals:
        left, top, right, bottom = box["rect"]
        high = bottom - top
        best: list[tuple[float, int, int]] = []  # how far, which text, which of its lines
        for k, text in enumerate(places["texts"]):
            if k in taken or text["row"] is not None or not _worded(text) or _sentence(text):
                continue
            if text["box"] not in (None, index):
                continue
            own = text["box"] == index
            if not own and _speaks_of_field(_around(text), fields):
                continue
            for n, line in enumerate(text["lines"]):
                x0, y0, x1, y1 = line["rect"]
                x, y = (x0 + x1) / 2, (y0 + y1) / 2
                if text["role"] is not None:
                    over = top - _LABEL_OVER * high <= y <= bottom
                    if text["role"] == box["role"] and left <= x <= right and over:
                        best.append((-2 * width, k, n))
                    continue
                between = any(
                    x1 - 2 <= other["rect"][0] and other["rect"][2] <= left + 2
                    and other["rect"][1] < y < other["rect"][3]
                    for _, other in totals if other is not box
                )  # fmt: skip
                if top - _BAND * high <= y <= bottom + _BAND * high and x1 <= left + 4 and not between:
                    away = left - x1 + 2 * abs(y - (top + bottom) / 2)
                    if left - x1 > _LABEL_REACH * width and not own:
                        continue
                elif left - 0.2 * high <= x <= right + 0.2 * high and 0 <= top - y <= _LABEL_OVER * high:
                    away = _OVER_COSTS * width + top - y
                elif own or (box["role"] == "items" and top <= y <= bottom and 0 <= x0 - right < 2 * high):
                    away = 0.8 * width + abs(y - bottom)
                else:
                    continue
                best.append((away - (width if own else 0), k, n))
        if not best:
            continue
        _, k, n = min(best)
        chosen.append((index, k, n, best))
    primary = [k for _, k, _, _ in chosen]
    used = list(primary)
    found = []
    lines = [(k, n) for _, k, n, _ in chosen]
    for index, k, n, best in chosen:
        box = places["boxes"][index]
        both = box["role"] == "items" and _joined(places["texts"][k]).lower() in _OF_TWO
        if lines.count((k, n)) > 1 or both:
            continue
        _, top, _, bottom = box["rect"]
        text = places["texts"][k]
        if len(_joined(text).split()) <= _MOST_WORDS and primary.count(k) == 1:
            said, place = _joined(text), _around(text)
        else:
            said, place = text["lines"][n]["text"], text["lines"][n]["rect"]
        for other in sorted({j for _, j, _ in best} - set(used)):  # a second line, under or over the first
            extra = places["texts"][other]
            r = _around(extra)
            beside = min(r[2], place[2]) - max(r[0], place[0]) > 0.5 * min(r[2] - r[0], place[2] - place[0])
            close = top - 2 <= (r[1] + r[3]) / 2 <= bottom + 2 and extra["box"] == text["box"]
            if beside and close and extra["role"] == text["role"]:
                said = f"{said}\n{_joined(extra)}" if r[1] > place[1] else f"{_joined(extra)}\n{said}"
                used.append(other)
        found.append((said, "count" if box["role"] == "items" else box["role"]))
    return found, used


def _in_ladder(place: Rect, sums: Sequence[Rect], beside: Sequence[Rect]) -> bool:
    """Say whether a text stands where labels do: beside totals, in line with labels of theirs; or level with two."""
    if sum(abs(place[1] - r[1]) < 2 for r in beside) > 1:
        return True
    if not sums or not min(r[1] for r in sums) < (place[1] + place[3]) / 2 < max(r[3] for r in sums):
        return False
    return any(abs(place[0] - r[0]) < 4 or abs(place[2] - r[2]) < 4 for r in beside)


def nothing(places: dict[str, Any], used: Sequence[int], told: Sequence[str]) -> list[str]:
    """Return the other texts, each once; in the table only what its first row prints, and not what was `told` again."""
    again = {" ".join(text.split()).lower() for text in told}
    first = min(box["rect"][1] for box in places["boxes"] if box["row"] == 1)
    columns = [box["rect"] for box in places["boxes"] if box["row"] == 1]
    heads = [_around(places["texts"][k])[1] for k in used]
    band = min((y for y in heads if y < first), default=first)
    sums = [box["rect"] for box in places["boxes"] if box["row"] is None and box["role"] != "serial"]
    highest = min((s[1] - _LABEL_OVER * (s[3] - s[1]) for s in sums), default=float("inf"))
    beside = [r for r in (_around(places["texts"][k]) for k in used) if r[1] > highest]
    found = []
    for k, text in enumerate(places["texts"]):
        if k in used or (text["row"] or 1) > 1 or not re.search("[A-Za-z]{2}", _joined(text)):
            continue
        place = _around(text)
        if _in_ladder(place, sums, beside):
            continue  # the label of a box that nobody fills in, or that pads leave to the office
        level = band - 2 < (place[1] + place[3]) / 2 < first
        inside = min(c[0] for c in columns) - 40 < place[0] < max(c[2] for c in columns)
        if level and inside and text["row"] is None:
            continue  # over a column that nobody writes in, or over two: a heading, though of no box
        said = _joined(text)
        plain = " ".join(said.lower().split()).strip(" :/.")
        if (
            " ".join(said.split()).lower() in again
            or plain.endswith("£")
            or plain in listed("heading")
            or plain in listed("label")
        ):
            continue  # a second table, or the label of a box that was given to another text
        found += [said] if len(said.split()) <= _MOST_WORDS else [line["text"] for line in text["lines"][:3]]
    return list(dict.fromkeys(found))


def _readable(told: dict[str, Any]) -> str:
    """Return JSON with a line for each pad's headings, labels and other texts."""
    pads_told = []
    for pad, texts in told.items():
        lines = (
            f" {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in texts.items()
        )
        pads_told.append(f"{json.dumps(pad)}: {{\n" + ",\n".join(lines) + "}")
    return "{\n" + ",\n".join(pads_told) + "\n}\n"


def main() -> None:
    """Gather the texts of tune pads."""
    parser = argparse.ArgumentParser(description="Gather what the tune pads print.")
    parser.add_argument("file", type=Path)
    parser.add_argument("--designer", default="?", help="letter for pads that the file doesn't hold yet")
    parser.add_argument(
        "--only", nargs="+", metavar="PAD", help="these pads; the file keeps all others as they are"
    )
    parser.add_argument("--places", type=Path, help="a folder to keep what the browser told in")
    given = parser.parse_args()
    before = json.loads(given.file.read_text(encoding="utf-8")) if given.file.exists() else {}
    unknown = set(given.only or ()) - {pad.stem for pad in pads("tune")}
    if unknown:
        parser.error(f"no tune pads: {', '.join(sorted(unknown))}")
    told = dict(before) if given.only else {}
    for pad in pads("tune"):
        if given.only and pad.stem not in given.only:
            continue
        kept = given.places / f"{pad.stem}.json" if given.places else None
        if kept and kept.exists():
            places = json.loads(kept.read_text(encoding="utf-8"))
        else:
            places = shown(pad)
            if kept:
                kept.parent.mkdir(parents=True, exist_ok=True)
                kept.write_text(json.dumps(places), encoding="utf-8")
        rects = [text["lines"][0]["rect"] for text in places["texts"]] + [b["rect"] for b in places["boxes"]]
        width = max(r[2] for r in rects) + min(r[0] for r in rects)  # of the paper, its margins alike
        heads, a = headings(places)
        sums, b = labels(places, width, a)
        designer = before.get(pad.stem, {}).get("designer", given.designer)
        told[pad.stem] = {
            "designer": designer,
            "headings": heads,
            "labels": sums,
            "nothing": nothing(places, a + b, [text for text, _ in [*heads, *sums]]),
        }
        print(pad.stem, len(heads), len(sums), flush=True)
    given.file.write_text(_readable(dict(sorted(told.items()))), encoding="utf-8")


if __name__ == "__main__":
    main()
