"""A network that can't be opened is said in the seller's words, whatever became of its file."""

from pathlib import Path

import pytest

from formread import ocr
from formread.errors import FormreadError
from formread.networks import open_network
from formread.reading import recogniser

SHIPPED = recogniser._WEIGHTS / "reader.onnx"


@pytest.mark.parametrize("kept", [None, 0, 60, 1_000_000])
def test_a_file_that_is_missing_or_cut_short_says_what_to_do(tmp_path: Path, kept: int | None) -> None:
    path = tmp_path / "reader.onnx"
    if kept is not None:
        path.write_bytes(SHIPPED.read_bytes()[:kept])
    with pytest.raises(
        FormreadError, match=r"^The reader is missing .* or damaged\. Install formread again\.$"
    ):
        open_network(path, "The reader")


def test_a_network_is_opened_once() -> None:
    assert open_network(SHIPPED, "The reader") is open_network(SHIPPED, "The reader")


def test_without_rapidocr_the_seller_is_told_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda *_: None)
    with pytest.raises(FormreadError, match=r"printed headings is missing .* pip install .*rapidocr$"):
        ocr._recogniser.__wrapped__()
