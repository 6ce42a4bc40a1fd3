"""Records as bytes and back, for the store: JSON, deflated; no code is ever run on reading it.

Only the records listed here are known. A record is written with its class's name and its fields, so a file kept
by an older version is still understood when a field with a default has been added since, or one was dropped.
"""

import base64
import json
import zlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from numbers import Integral, Real
from typing import Any, Final, TypeVar

from formread.arithmetic.evidence import Confirmed, Tabled
from formread.arithmetic.record import (
    BoxRef,
    JudgedCharge,
    JudgedLine,
    Judgement,
    LineReadings,
    SlipReadings,
    TotalReading,
)
from formread.layout.record import Box, Column, Layout, Rectangle, Row, TotalBox, Trust
from formread.pile.record import Outcome, ReadSlip
from formread.reading.lattice import Lattice
from formread.reading.readings import NumberReading, SplitReading, TextReading
from formread.record import Candidate
from formread.slips import Charge, Line, Problem, Slip

_RECORDS: Final = {
    record.__name__: record
    for record in (
        *(Box, Column, Layout, Rectangle, Row, TotalBox, Trust),
        *(BoxRef, JudgedCharge, JudgedLine, Judgement, LineReadings, SlipReadings, TotalReading),
        *(Candidate, Confirmed, Lattice, NumberReading, SplitReading, Tabled, TextReading),
        *(Charge, Line, Outcome, Problem, ReadSlip, Slip),
    )
}
_CLASS: Final = "@"
_BYTES: Final = "@bytes"
_MAPPING: Final = "@mapping"

T = TypeVar("T")


def encode(record: object) -> bytes:
    """Write a record, or a tuple of records.

    Raises
    ------
    TypeError
        For what the store has no business keeping.
    """
    text = json.dumps(_plain(record), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return zlib.compress(text.encode("utf-8"), 6)


def decode(data: bytes, kind: type[T]) -> T:
    """Read back what :func:`encode` wrote; sequences come back as tuples.

    Raises
    ------
    ValueError
        When `data` holds no record of that kind: the file was damaged, or kept by a newer formread.
    """
    try:
        record = _record(json.loads(zlib.decompress(data)))
    except (zlib.error, json.JSONDecodeError, KeyError, TypeError, UnicodeDecodeError) as error:
        raise ValueError(f"not a kept {kind.__name__}: {error}") from error
    if not isinstance(record, kind):
        raise ValueError(f"not a kept {kind.__name__} but a {type(record).__name__}")
    return record


def _plain(value: object) -> Any:
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value)
    if isinstance(value, bytes):
        return {_BYTES: base64.b64encode(value).decode("ascii")}
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    if isinstance(value, Mapping):
        return {_MAPPING: [[_plain(key), _plain(each)] for key, each in value.items()]}
    if is_dataclass(value) and type(value).__name__ in _RECORDS:
        kept = {f.name: _plain(getattr(value, f.name)) for f in fields(value) if not f.name.startswith("_")}
        return {_CLASS: type(value).__name__, **kept}
    raise TypeError(f"the store keeps no {type(value).__name__}")


def _record(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_record(each) for each in value)
    if not isinstance(value, dict):
        return value
    if _BYTES in value:
        return base64.b64decode(value[_BYTES])
    if _MAPPING in value:
        return {_record(key): _record(each) for key, each in value[_MAPPING]}
    record = _RECORDS[value[_CLASS]]
    known = {field.name for field in fields(record)}
    return record(**{name: _record(each) for name, each in value.items() if name in known})
