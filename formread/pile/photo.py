"""One photo, from the file to the readings of every slip in it. Runs in a process of its own."""

from collections.abc import Sequence

import cv2

from formread.errors import FormreadError
from formread.layout import propose_layouts
from formread.layout.design import SlipDesign, recognised
from formread.layout.record import Layout, LayoutSearch
from formread.photo import Photo, read_photo
from formread.pile.codes import with_codes
from formread.pile.gather import PhotoFile
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.roles import settle_roles
from formread.pile.slip import read_sheet
from formread.sheet.record import Sheet
from formread.sheet.search import find_sheets
from formread.slips import Problem

_SHEET_QUALITY = 88  # JPEG quality of kept sheets: the ink's edges stay clean, 300 kB a slip


def read_photo_file(
    file: PhotoFile, designs: Sequence[SlipDesign] = (), learned: Sequence[SlipDesign] = ()
) -> ReadPhoto:
    """Read every slip in one photo or PDF.

    Nothing that a photo does may stop the pile, so every failure becomes a problem with the photo's name.

    Parameters
    ----------
    designs
        Designs that were taught: a slip whose rows are one's has the roles that it gives.
    learned
        Designs that other slips of the pile agree on: a slip that is clearly of one is named by it.
    """
    slips: list[ReadSlip] = []
    problems: list[Problem] = []
    page: int | None = None
    try:
        for photo in read_photo(file.path):
            page = photo.page
            found, said = _read_page(file.name, photo, designs, learned)
            slips += found
            problems += said
    except FormreadError as error:
        problems.append(Problem(file.name, page, str(error)))
    except Exception as error:  # whatever it was, the pile goes on
        problems.append(
            Problem(
                file.name,
                page,
                f"formread stumbled over this photo ({type(error).__name__}: {error}). "
                "Photograph the slip again, or check it by hand.",
            )
        )
    return ReadPhoto(tuple(slips), tuple(problems))


def _read_page(
    name: str, photo: Photo, designs: Sequence[SlipDesign], learned: Sequence[SlipDesign]
) -> tuple[list[ReadSlip], list[Problem]]:
    search = find_sheets(photo.image)
    if not search:
        return [], [Problem(name, photo.page, search.reason or "No order slip was found in this photo.")]
    slips: list[ReadSlip] = []
    problems = [Problem(name, photo.page, note) for note in search.notes]
    for sheet, proposals in laid_out(search.sheets, (*designs, *learned)):
        if not proposals:
            why = sheet.doubt or proposals.reason or "The table on this slip was not found."
            problems.append(Problem(name, photo.page, why))
            continue
        layout = proposals.layouts[0]
        if not layout.known:
            layout = recognised(designs, with_codes(sheet.image, layout))
        slips.append(read_slip(name, photo.page, sheet, layout))
    return slips, problems


def laid_out(sheets: Sequence[Sheet], designs: Sequence[SlipDesign] = ()) -> list[tuple[Sheet, LayoutSearch]]:
    """Propose layouts for the sheets of a photo; parts that are no orders by themselves give way to the slip they make."""
    found = [(sheet, propose_layouts(sheet, designs)) for sheet in sheets]
    result: list[tuple[Sheet, LayoutSearch]] = []
    put_together: list[object] = []
    for sheet, proposals in found:
        if sheet.whole is None:
            result.append((sheet, proposals))
            continue
        if sheet.whole in put_together:
            continue
        parts = sorted(
            (_lines_and_sums(its) for part, its in found if part.whole is sheet.whole), reverse=True
        )
        if _are_one(parts):
            whole = sheet.whole()
            together = LayoutSearch(()) if whole is None else propose_layouts(whole, designs)
            lines, sums = _lines_and_sums(together)
            if whole is not None and sums and lines >= parts[0][0]:
                put_together.append(sheet.whole)
                result.append((whole, together))
                continue
        result.append((sheet, proposals))
    return result


def _lines_and_sums(proposals: LayoutSearch) -> tuple[int, int]:
    """Return how many lines a sheet has, and how many boxes for sums."""
    return (len(proposals.layouts[0].rows), len(proposals.layouts[0].totals)) if proposals else (0, 0)


def _are_one(parts: Sequence[tuple[int, int]]) -> bool:
    """Say whether parts of a sheet, the one with most lines first, are no orders each: its lines have no sum with them."""
    (lines, sums), *others = parts
    return not sums and all(few <= lines / 2 for few, _ in others)


def read_slip(name: str, page: int, sheet: Sheet, layout: Layout) -> ReadSlip:
    """Read one slip whose layout is known."""
    corners = tuple((round(float(x), 1), round(float(y), 1)) for x, y in sheet.outline)
    read = ReadSlip(name, page, corners, layout, read_sheet(sheet.image, layout), _jpeg(sheet))
    return settle_roles([read])[0]


def _jpeg(sheet: Sheet) -> bytes:
    _, data = cv2.imencode(".jpg", sheet.image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _SHEET_QUALITY])
    return data.tobytes()
