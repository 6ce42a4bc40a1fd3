"""Open what a phone or a scanner makes, page by page, the right way up for the camera.

JPEG, PNG, TIFF (every page), WebP, BMP, GIF and AVIF are decoded by Pillow, HEIC by libheif (``pi_heif``),
PDF pages by PDFium (``pypdfium2``). Everything comes out as 8-bit RGB; the file itself is only ever read.
"""

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, UnidentifiedImageError

from formread.errors import PhotoError

SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".webp", ".bmp", ".gif"}
    | {".avif", ".heic", ".heif", ".hif", ".pdf"}
)
"""File name endings, in lower case, under which photos and scans are usually kept."""

MAX_MEGAPIXELS = 150
"""Decoded, a larger photo takes over half a gigabyte; no phone needs so many pixels to show a slip."""

_PILLOW_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF", "AVIF")
_ORIENTATION_TAG = 0x0112
_SUBFILE_TAG = 254
_THUMBNAIL_BIT = 1  # TIFF 6.0, NewSubfileType bit 0: a reduced copy of another page of this file
_SIXTEEN_TO_EIGHT = 257  # 65535 / 255

_PDF_DPI = 300
_PDF_MAX_DPI = 600  # finer than any handheld slip needs; a scan above it is rendered at this
_POINTS_PER_INCH = 72
_PDF_SCAN_SHARE = 0.5  # an embedded picture covering at least this share of the page is taken to be the scan

_EMPTY = "The file is empty (0 bytes). Copy it from the phone or the scanner again."
_CUT_OFF = "The photo is damaged or cut off: the file ends too early. Copy it again, or take the photo again."
_NOT_A_PHOTO = (
    "This is not a photo or scan that can be opened. Save it as JPEG, PNG, TIFF, HEIC or PDF and try again."
)


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One page of a file, upright by its own orientation mark.

    Attributes
    ----------
    name
        The file's name, without its folder.
    page
        Counted from 1; always 1 for files that hold one picture.
    image
        (H, W, 3) uint8 RGB.
    """

    name: str
    page: int
    image: npt.NDArray[np.uint8]


def read_photo(path: Path) -> Iterator[Photo]:
    """Yield every page of a photo, scan or PDF.

    Parameters
    ----------
    path
        A file; its content, not its name, decides how it is opened.

    Raises
    ------
    PhotoError
        When the file, or one of its pages, can't be used; the text says what to do. Pages before the bad one
        have been yielded by then.

    Notes
    -----
    Animated pictures give their first frame only, and so do the multi-picture JPEGs of phones, whose further
    pictures are previews and depth maps.
    """
    start = _first_bytes(path)
    try:
        if b"%PDF-" in start:
            pages = _pdf_pages(path)
        elif start[4:8] == b"ftyp" and start[8:12] not in (b"avif", b"avis"):
            pages = _heif_pages(path)
        else:
            pages = _pillow_pages(path)
        for number, image in pages:
            yield Photo(path.name, number, image)
    except MemoryError as error:
        raise PhotoError("The photo is too large for this computer's memory. Save it smaller.") from error


def upright(image: npt.NDArray[np.uint8], orientation: object) -> npt.NDArray[np.uint8]:
    """Turn a stored picture the way its EXIF orientation says it was seen.

    Parameters
    ----------
    image
        (H, W, C) uint8 as stored.
    orientation
        The value of tag 0x0112 [1]_: 1 to 8. Anything else (0 occurs, and nonsense) leaves it as stored.

    References
    ----------
    .. [1] CIPA DC-008 (Exif 2.32), 4.6.4, "Orientation".
    """
    turned: Any
    match orientation:
        case 2:
            turned = cv2.flip(image, 1)
        case 3:
            turned = cv2.rotate(image, cv2.ROTATE_180)
        case 4:
            turned = cv2.flip(image, 0)
        case 5:
            turned = cv2.transpose(image)
        case 6:
            turned = cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            turned = cv2.flip(cv2.transpose(image), -1)
        case 8:
            turned = cv2.rotate(image, cv2.ROTATE_90_COUNTERCLOCKWISE)
        case _:
            turned = image
    return np.asarray(turned, np.uint8)


def _first_bytes(path: Path) -> bytes:
    """Read enough of the file to tell its kind, and say plainly when even that fails."""
    try:
        with path.open("rb") as file:
            start = file.read(1024)
    except IsADirectoryError as error:
        raise PhotoError("This is a folder, not a photo.") from error
    except FileNotFoundError as error:
        raise PhotoError("There is no such file. Check the name, or whether it was moved.") from error
    except PermissionError as error:
        if path.is_dir():  # what opening a folder says on Windows
            raise PhotoError("This is a folder, not a photo.") from error
        raise PhotoError(
            "The file may not be opened by you. Change its permissions, or copy it to a folder of your own."
        ) from error
    except OSError as error:
        raise PhotoError(
            "The file could not be read from the disk. Check the card or drive, then copy it again."
        ) from error
    if not start:
        raise PhotoError(_EMPTY)
    return start


def _check_size(width: int, height: int) -> None:
    if width * height > MAX_MEGAPIXELS * 1_000_000:
        raise _too_large(width, height)


def _too_large(width: int, height: int) -> PhotoError:
    return PhotoError(
        f"The photo is too large ({width} x {height} pixels; at most {MAX_MEGAPIXELS} megapixels). "
        "Save it smaller, or photograph fewer slips at a time."
    )


def _pillow_pages(path: Path) -> Iterator[tuple[int, npt.NDArray[np.uint8]]]:
    try:
        with warnings.catch_warnings():
            # Pillow warns of large pictures and odd metadata; the size is checked here, and metadata other
            # than the orientation is of no use.
            warnings.simplefilter("ignore")
            with Image.open(path, formats=_PILLOW_FORMATS) as picture:
                frames = getattr(picture, "n_frames", 1) if picture.format == "TIFF" else 1
                number = 0
                for frame in range(frames):
                    picture.seek(frame)
                    if frame and _is_thumbnail(picture):
                        continue
                    number += 1
                    _check_size(*picture.size)
                    # A TIFF is turned by Pillow while it loads, which also drops the tag: load first.
                    picture.load()
                    yield number, upright(_eight_bit_rgb(picture), _orientation(picture))
    except PhotoError:
        raise
    except UnidentifiedImageError as error:
        raise PhotoError(_NOT_A_PHOTO) from error
    except Image.DecompressionBombError as error:
        raise PhotoError(
            f"The photo is too large (over {MAX_MEGAPIXELS} megapixels). "
            "Save it smaller, or photograph fewer slips at a time."
        ) from error
    except (OSError, RuntimeError, SyntaxError, ValueError, EOFError, IndexError, TypeError) as error:
        # Pillow's decoders raise all of these on damaged data, as trials with damaged files showed.
        raise PhotoError(_CUT_OFF) from error


def _is_thumbnail(picture: Image.Image) -> bool:
    tags = getattr(picture, "tag_v2", {})
    return bool(int(tags.get(_SUBFILE_TAG, 0)) & _THUMBNAIL_BIT)


def _orientation(picture: Image.Image) -> object:
    try:
        return picture.getexif().get(_ORIENTATION_TAG)
    except Exception:
        # Damaged EXIF raises almost anything (struct.error, SyntaxError, OverflowError ...) and is common:
        # apps that edit photos write it. The pixels are still good.
        return None


def _eight_bit_rgb(picture: Image.Image) -> npt.NDArray[np.uint8]:
    if picture.mode == "F" or picture.mode.startswith("I"):
        return _grey_to_rgb(np.asarray(picture))
    if picture.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in picture.info:
        coloured = picture.convert("RGBA")
        paper = Image.new("RGBA", coloured.size, (255, 255, 255, 255))
        picture = Image.alpha_composite(paper, coloured)
    return np.asarray(picture if picture.mode == "RGB" else picture.convert("RGB"))


def _grey_to_rgb(deep: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """Bring 16-bit, 32-bit or floating grey to (H, W, 3) uint8: 255 is 255, 65535 or the brightest value."""
    values = np.nan_to_num(deep.astype(np.float64), nan=0.0, posinf=0.0, neginf=0.0)
    top = float(values.max(initial=0.0))
    if deep.dtype.kind == "f":
        divisor = top / 255 if top > 0 else 1.0
    else:
        divisor = 1.0 if top <= 255 else max(top / 255, _SIXTEEN_TO_EIGHT)
    grey = np.clip(np.rint(values / divisor), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def _heif_pages(path: Path) -> Iterator[tuple[int, npt.NDArray[np.uint8]]]:
    import pi_heif

    try:
        file = pi_heif.open_heif(path, convert_hdr_to_8bit=True)
        picture = file[file.primary_index]
        _check_size(*picture.size)
        # libheif has already turned the picture by its own transformation boxes; by the standard (ISO/IEC
        # 23008-12) an EXIF orientation beside them is for information only.
        image = Image.frombytes(
            picture.mode, picture.size, bytes(picture.data), "raw", picture.mode, picture.stride
        )
    except PhotoError:
        raise
    except (OSError, RuntimeError, ValueError, EOFError, SyntaxError, IndexError) as error:
        raise PhotoError(_CUT_OFF) from error
    yield 1, _eight_bit_rgb(image)


def _pdf_pages(path: Path) -> Iterator[tuple[int, npt.NDArray[np.uint8]]]:
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(path)
    except pypdfium2.PdfiumError as error:
        if error.err_code == pypdfium2.raw.FPDF_ERR_PASSWORD:
            raise PhotoError(
                "The PDF is locked with a password. Open it, save or print it as a new PDF without one, "
                "and use that."
            ) from error
        raise PhotoError("The PDF is damaged. Scan it again, or save it as a new PDF.") from error
    try:
        if len(document) == 0:
            raise PhotoError("The PDF has no pages. Scan it again.")
        for index in range(len(document)):
            yield index + 1, _pdf_page(document, index)
    finally:
        document.close()


def _pdf_page(document: Any, index: int) -> npt.NDArray[np.uint8]:
    import pypdfium2

    try:
        page = document[index]
        width, height = page.get_size()
        scale = _pdf_scale(page, width, height)
        _check_size(int(width * scale), int(height * scale))
        image = page.render(scale=scale, rev_byteorder=True).to_numpy()
    except pypdfium2.PdfiumError as error:
        raise PhotoError(f"Page {index + 1} of the PDF is damaged. Scan that page again.") from error
    rgb = np.repeat(image[..., None], 3, axis=2) if image.ndim == 2 else image[..., :3]
    return np.array(rgb, np.uint8, order="C")  # a copy: PDFium's own memory goes away with the page


def _pdf_scale(page: Any, width: float, height: float) -> float:
    """Return pixels per point: the scan's own where the page is one scan, else 300 dpi."""
    import pypdfium2

    for picture in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE]):
        left, bottom, right, top = picture.get_bounds()
        if (right - left) * (top - bottom) >= _PDF_SCAN_SHARE * width * height:
            pixels = max(picture.get_px_size())
            scale = pixels / max(right - left, top - bottom)
            return float(min(scale, _PDF_MAX_DPI / _POINTS_PER_INCH))
    return _PDF_DPI / _POINTS_PER_INCH
