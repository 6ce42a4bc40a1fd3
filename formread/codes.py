"""Product codes: what tells them apart, however they are spaced."""

import re


def normalise_code(text: str) -> str:
    """Reduce a product code to what tells codes apart: capitals and digits, zeros kept.

    ``" 104-238"``, ``"104 238"`` and ``"104238"`` are one code; ``"0042"`` and ``"42"`` are two.
    """
    return re.sub(r"[^0-9A-Z]", "", text.upper())
