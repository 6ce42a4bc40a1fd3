"""Photos and scans of every kind come out as upright 8-bit RGB, or as a reason a seller understands."""

import base64
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image, ImageOps

from formread import photo
from formread.errors import PhotoError
from formread.photo import Photo, read_photo, upright


def picture(width: int = 60, height: int = 40) -> Image.Image:
    """Four corners of four colours, on smooth shading: every turn and flip of it is different."""
    shade = np.linspace(60, 200, width)[None, :, None] + np.linspace(0, 40, height)[:, None, None]
    pixels = np.repeat(shade, 3, axis=2).astype(np.uint8)
    half_h, half_w = height // 2, width // 2
    pixels[:half_h, :half_w] = (220, 30, 30)
    pixels[:half_h, half_w:] = (30, 200, 30)
    pixels[half_h:, :half_w] = (30, 30, 220)
    return Image.fromarray(pixels)


def only(path: Path) -> npt.NDArray[np.uint8]:
    (page,) = read_photo(path)
    assert page.page == 1
    assert page.name == path.name
    return page.image


def exif(orientation: int) -> bytes:
    mark = Image.Exif()
    mark[0x0112] = orientation
    return mark.tobytes()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_exif_orientation_is_turned_as_pillow_turns_it(tmp_path: Path, orientation: int) -> None:
    """Against Pillow's ImageOps.exif_transpose, for all eight values of CIPA DC-008 (Exif 2.32)."""
    path = tmp_path / "turned.png"
    picture().save(path, exif=exif(orientation))
    with Image.open(path) as stored:
        expected = np.asarray(ImageOps.exif_transpose(stored).convert("RGB"))
    np.testing.assert_array_equal(only(path), expected)


@pytest.mark.parametrize("orientation", [6, 8, 3])
def test_a_turned_tiff_is_turned_once(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "turned.tif"
    mark = Image.Exif()
    mark[0x0112] = orientation
    picture().save(path, exif=mark)
    np.testing.assert_array_equal(only(path), upright(np.asarray(picture()), orientation))


@pytest.mark.parametrize("orientation", [0, 9, 255, None, "left", (6, 6)])
def test_a_missing_or_nonsense_orientation_leaves_the_picture_as_stored(orientation: object) -> None:
    stored = np.asarray(picture())
    np.testing.assert_array_equal(upright(stored, orientation), stored)


def test_exif_orientation_zero_in_a_file_is_as_stored(tmp_path: Path) -> None:
    path = tmp_path / "zero.png"
    picture().save(path, exif=exif(0))
    np.testing.assert_array_equal(only(path), np.asarray(picture()))


def test_damaged_exif_does_not_lose_the_photo(tmp_path: Path) -> None:
    path = tmp_path / "odd.jpg"
    picture().save(path, exif=b"Exif\x00\x00MM\x00\x2a\xff\xff\xff\xff\x00")
    assert only(path).shape == (40, 60, 3)


@pytest.mark.parametrize(
    "name", ["a.jpg", "a.png", "a.tif", "a.webp", "a.bmp", "a.gif", "a.avif", "a.jpg.pdf", "photo.wrongname"]
)
def test_each_format_gives_the_same_picture(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    formats = {"a.jpg.pdf": "PDF", "photo.wrongname": "PNG"}
    picture(300, 200).save(path, format=formats.get(name), quality=95)
    image = only(path)
    assert image.dtype == np.uint8
    assert image.shape == (200, 300, 3)
    difference = np.abs(image.astype(int) - np.asarray(picture(300, 200)).astype(int))
    assert difference.mean() < 4  # lossy codecs blur the borders between the colours


# Red, white, white and blue quarters, 96 x 64: drawn for this test, written by libheif through ImageMagick.
HEIC = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAT9tZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAA"
    "AAAAAA5waXRtAAAAAAABAAAAImlsb2MAAAAAREAAAQABAAAAAAFjAAEAAAAAAAAAQQAAACNpaW5mAAAAAAABAAAAFWluZmUC"
    "AAAAAAEAAGh2YzEAAAAAv2lwcnAAAAChaXBjbwAAAHVodmNDAQNwAAAAAAAAAAAAHvAA/P34+AAADwMgAAEAGEABDAH//wNw"
    "AAADAJAAAAMAAAMAHroCQCEAAQAoQgEBA3AAAAMAkAAAAwAAAwAeoDCBBZbqSSmubAgAAAMACAAAAwAIQCIAAQAHRAHBcrAi"
    "QAAAABRpc3BlAAAAAAAAAGAAAABAAAAAEHBpeGkAAAAAAwgICAAAABZpcG1hAAAAAAAAAAEAAQOBAoMAAABJbWRhdAAAAD0o"
    "Aa8ZgMayjyY36r//zGPf9cHS99VrtPhfj5odp9H9xdoAw5ePwf2cakjfuELXUL/+jSyO8UXnCh9cKj7A"
)


def test_heic_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.heic"
    path.write_bytes(HEIC)
    image = only(path)
    assert image.shape == (64, 96, 3)
    corners = image[[8, 8, 56, 56], [8, 88, 8, 88]].astype(int)
    wanted = [(220, 30, 30), (255, 255, 255), (255, 255, 255), (30, 30, 220)]
    np.testing.assert_allclose(corners, wanted, atol=40)


def turned_heic() -> bytes:
    """The same picture with an ``irot`` box: to be shown a quarter turn anticlockwise (ISO/IEC 23008-12, 6.5.10)."""
    turn = (9).to_bytes(4, "big") + b"irot" + b"\x01"
    end = HEIC.index(b"ipma") - 4  # the properties end where their assignment to the picture begins
    data = bytearray(HEIC[:end] + turn + HEIC[end:])
    for name, more in ((b"ipco", 9), (b"ipma", 1), (b"iprp", 10), (b"meta", 10)):
        at = data.index(name) - 4
        data[at : at + 4] = (int.from_bytes(data[at : at + 4], "big") + more).to_bytes(4, "big")
    last = data.index(b"mdat") - 4
    count = last - 4  # of the picture's properties: three, and the turn as the fourth, which must be obeyed
    assert data[count : count + 4] == b"\x03\x81\x02\x83"
    data[count : count + 4] = b"\x04\x81\x02\x83\x84"
    first = data.index((0x163).to_bytes(4, "big"))  # where the picture's data begin in the file
    data[first : first + 4] = (0x163 + 10).to_bytes(4, "big")
    return bytes(data)


def test_heic_is_turned_as_the_phone_was_held(tmp_path: Path) -> None:
    path = tmp_path / "a.heic"
    path.write_bytes(turned_heic())
    image = only(path)
    assert image.shape == (96, 64, 3)
    corners = image[[8, 8, 88, 88], [8, 56, 8, 56]].astype(int)
    wanted = [(255, 255, 255), (30, 30, 220), (220, 30, 30), (255, 255, 255)]
    np.testing.assert_allclose(corners, wanted, atol=40)


@pytest.mark.parametrize("mode", ["1", "L", "P", "LA", "RGBA", "CMYK", "YCbCr", "I", "F", "I;16", "LAB"])
def test_every_pixel_format_becomes_rgb(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "mode.tif"
    if mode == "I;16":
        stored = Image.fromarray(np.full((40, 60), 32768, np.uint16))
    else:
        stored = (
            picture().convert("L").convert(mode)
            if mode in "1IF"
            else picture().convert("RGB").convert("L" if mode == "LAB" else mode)
        )
    stored.save(path)
    image = only(path)
    assert image.shape == (40, 60, 3)
    assert image.dtype == np.uint8
    assert image.max() > 100


def test_sixteen_bit_grey_keeps_its_brightness(tmp_path: Path) -> None:
    path = tmp_path / "deep.png"
    ramp = np.linspace(0, 65535, 256).astype(np.uint16)
    Image.fromarray(np.tile(ramp, (4, 1))).save(path)
    np.testing.assert_allclose(only(path)[0, :, 0], np.arange(256), atol=1)


def test_transparent_parts_are_paper_white(tmp_path: Path) -> None:
    path = tmp_path / "clear.png"
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(path)
    assert only(path).min() == 255


def test_cmyk_white_is_white(tmp_path: Path) -> None:
    path = tmp_path / "press.jpg"
    Image.new("CMYK", (16, 16), (0, 0, 0, 0)).save(path)
    assert only(path).min() >= 250


def test_every_page_of_a_tiff_comes_in_order(tmp_path: Path) -> None:
    path = tmp_path / "pages.tif"
    pages = [Image.new("L", (20, 10), level) for level in (10, 100, 200)]
    pages[0].save(path, save_all=True, append_images=pages[1:])
    found = list(read_photo(path))
    assert [(page.page, int(page.image[0, 0, 0])) for page in found] == [(1, 10), (2, 100), (3, 200)]


def test_every_page_of_a_pdf_comes_at_its_scans_own_size(tmp_path: Path) -> None:
    path = tmp_path / "pages.pdf"
    pages = [picture(400, 300), picture(200, 500)]
    pages[0].save(path, save_all=True, append_images=pages[1:], resolution=150)
    found = list(read_photo(path))
    assert [page.page for page in found] == [1, 2]
    for page, drawn in zip(found, pages, strict=True):
        height, width = page.image.shape[:2]
        assert abs(width - drawn.width) <= 1
        assert abs(height - drawn.height) <= 1


def test_only_the_first_frame_of_an_animation_counts(tmp_path: Path) -> None:
    path = tmp_path / "moving.gif"
    picture().save(path, save_all=True, append_images=[picture().rotate(180)])
    only(path)


def empty(path: Path) -> None:
    path.write_bytes(b"")


def text(path: Path) -> None:
    path.write_text("Two of these, please.\n" * 40)


def truncated(path: Path) -> None:
    picture(600, 400).save(path, format="JPEG")
    path.write_bytes(path.read_bytes()[:2000])


def only_a_header(path: Path) -> None:
    picture().save(path, format="JPEG")
    path.write_bytes(path.read_bytes()[:24])


def broken_pdf(path: Path) -> None:
    path.write_bytes(b"%PDF-1.4\nnothing that a reader could use\n")


def broken_heic(path: Path) -> None:
    path.write_bytes(HEIC[:-40])


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (empty, "empty"),
        (text, "not a photo"),
        (truncated, "cut off"),
        (only_a_header, "again"),
        (broken_pdf, "PDF is damaged"),
        (broken_heic, "cut off"),
        (Path.mkdir, "folder"),
        (Path, "no such file"),
    ],
)
def test_a_bad_file_is_named_in_plain_words(tmp_path: Path, make: Callable[[Path], None], words: str) -> None:
    path = tmp_path / "bad.jpg"
    make(path)
    with pytest.raises(PhotoError, match=words):
        list(read_photo(path))


@pytest.mark.parametrize(
    ("fault", "words"), [(PermissionError, "permissions"), (OSError, "disk"), (MemoryError, "memory")]
)
def test_what_the_machine_refuses_is_said_in_plain_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: type[Exception], words: str
) -> None:
    path = tmp_path / "good.png"
    picture().save(path)

    def refuse(*_: object, **__: object) -> None:
        raise fault

    if fault is MemoryError:
        monkeypatch.setattr(photo, "_eight_bit_rgb", refuse)
    else:
        monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(PhotoError, match=words):
        list(read_photo(path))


def test_a_locked_pdf_asks_for_an_unlocked_copy(tmp_path: Path) -> None:
    """The trailer's /Encrypt with a user key that no empty password fits (PDF 32000-1, 7.6)."""
    path = tmp_path / "locked.pdf"
    key = "00" * 32
    objects = [
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 72 72]>>",
        f"<</Filter/Standard/V 1/R 2/O<{key}>/U<{key}>/P -4>>",
    ]
    body, offsets = "%PDF-1.4\n", []
    for number, content in enumerate(objects, 1):
        offsets.append(len(body))
        body += f"{number} 0 obj\n{content}\nendobj\n"
    table = "".join(f"{offset:010d} 00000 n \n" for offset in offsets)
    path.write_text(
        f"{body}xref\n0 5\n0000000000 65535 f \n{table}"
        f"trailer<</Size 5/Root 1 0 R/Encrypt 4 0 R/ID[<00><00>]>>\nstartxref\n{len(body)}\n%%EOF\n"
    )
    with pytest.raises(PhotoError, match="password"):
        list(read_photo(path))


def test_a_huge_picture_is_refused_before_it_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "huge.png"
    Image.new("1", (2000, 2000)).save(path)
    monkeypatch.setattr(photo, "MAX_MEGAPIXELS", 3)
    with pytest.raises(PhotoError, match="2000 x 2000"):
        list(read_photo(path))


def test_the_same_file_gives_the_same_pixels(tmp_path: Path) -> None:
    path = tmp_path / "same.jpg"
    picture(300, 200).save(path, quality=80)
    first, second = (next(read_photo(path)) for _ in range(2))
    assert isinstance(first, Photo)
    np.testing.assert_array_equal(first.image, second.image)
