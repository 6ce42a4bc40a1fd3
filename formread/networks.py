"""The one door to onnxruntime: a network that ships, opened once in each process."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from formread.errors import FormreadError


class Network:
    """A network that is given one array and answers with one; the first axis of both is the batch."""

    def __init__(self, session: Any) -> None:
        self._session = session
        self._input = session.get_inputs()[0].name

    def __call__(self, batch: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Return the answer to `batch`."""
        return np.asarray(self._session.run(None, {self._input: batch})[0], np.float32)

    def note(self, key: str) -> str:
        """Return what the file says of itself under `key`."""
        return str(self._session.get_modelmeta().custom_metadata_map[key])


@cache
def open_network(weights: Path | None, purpose: str, remedy: str = "Install formread again.") -> Network:
    """Open a network.

    Parameters
    ----------
    weights
        The ONNX file; None where there was none to be found.
    purpose, remedy
        What the seller is told where it can't be opened: the sentence's subject, and what to do.

    Raises
    ------
    FormreadError
        The file is missing or damaged.
    """
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1  # photos are read in parallel; threads inside would only compete
    options.inter_op_num_threads = 1
    try:
        return Network(onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"]))
    except Exception as error:  # its errors share no root, and it raises Python's own as well
        raise FormreadError(f"{purpose} is missing from this installation or damaged. {remedy}") from error
