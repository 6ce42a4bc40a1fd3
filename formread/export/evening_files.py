"""Every file of the evening by its name, each made when it is asked for."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

from formread.export.door_page import door_page
from formread.export.evening_sheets import evening_spreadsheet
from formread.export.print_out import bag_labels, customer_notes, float_sheet, packing_list, round_sheet
from formread.round.evening import Evening


def _notes(evening: Evening) -> bytes:
    who = {slip: drop.who for drop in evening.plan.drops for slip in drop.slips}
    return customer_notes(evening.goods.notes, who)


EVENING_FILES: Final[Mapping[str, Callable[[Evening], bytes]]] = MappingProxyType(
    {
        "evening.xlsx": evening_spreadsheet,
        "packing_list.pdf": lambda evening: packing_list(evening.goods, evening.plan.drops),
        "bag_labels.pdf": bag_labels,
        "round_sheet.pdf": round_sheet,
        "float.pdf": float_sheet,
        "notes.pdf": _notes,
        "at_the_door.html": lambda evening: door_page(evening).encode("utf-8"),
    }
)


def evening_files(evening: Evening) -> dict[str, bytes]:
    """Make them all."""
    return {name: make(evening) for name, make in EVENING_FILES.items()}
