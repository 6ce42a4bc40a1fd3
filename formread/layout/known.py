"""A slip of a known pad: its boxes are named by the pad's design, and no print but its number is read."""

from collections.abc import Sequence
from dataclasses import replace

from formread.layout.content import content_of
from formread.layout.design import SlipDesign, headed_alike, in_pixels, roles_of, told
from formread.layout.header import find_customer, find_serial, find_serial_near
from formread.layout.heading_print import heading_print
from formread.layout.ink import Ink
from formread.layout.record import Layout, Rectangle, Trust
from formread.layout.scale import Read, Scale
from formread.layout.sight import boxes_seen
from formread.layout.totals import whole_of
from formread.layout.trust import seen_in, trust_of
from formread.sheet.record import Image


def known_layout(
    image: Image, ink: Ink, read: Read, scale: Scale, designs: Sequence[SlipDesign]
) -> Layout | None:
    """Return the layout of a slip of a known design; None where it is not clearly of one.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB sheet.
    ink
        (H, W) darkness of the working image.
    """
    bare = boxes_seen(scale.grid, scale)
    fitting = [(design, layout) for design in designs if (layout := told(design, bare)) is not None]
    if fitting:
        heading = heading_print(image, bare)
        fitting = [(design, layout) for design, layout in fitting if headed_alike(design, heading)]
    # Two pads of the same boxes, with the same print over them, that mean other things: it must be read.
    if len({roles_of(layout) for _, layout in fitting}) != 1:
        return None
    design, layout = fitting[0]
    serial, text = _number(design, layout, ink, read, scale)
    return replace(
        layout,
        serial=serial,
        serial_text=text,
        customer=find_customer(scale.seen),
        trust=_trust(layout, bare, scale),
    )


def _number(
    design: SlipDesign, layout: Layout, ink: Ink, read: Read, scale: Scale
) -> tuple[Rectangle | None, str | None]:
    """Find the printed slip number; the whole sheet is searched where the pad has one and it is not in its place."""
    usual = None if design.number is None else in_pixels(design.number, layout.table)
    place, text = find_serial_near(ink, read, scale, usual)
    if place is None and usual is not None:
        content = content_of(ink, scale.seen, scale.working)
        return find_serial(scale.seen, scale.grid, content, read, scale)
    return place, text


def _trust(layout: Layout, bare: Layout, scale: Scale) -> Trust:
    """Say how far the layout can be trusted: its roles as its design says, its boxes by the slip's own looks."""
    known, own = layout.trust, trust_of(scale.seen, scale.grid)
    box = next((total.box for total in layout.totals if total.role == "total"), None)
    seen = [
        seen_in(scale.seen, whole_of(total), scale.grid)
        for total, one in zip(scale.grid.totals, bare.totals, strict=True)
        if one.box == box
    ]
    return replace(
        own,
        totals=known.totals,
        seen=seen[0] if seen else own.seen,
        column_roles=known.column_roles,
        total_roles=known.total_roles,
    )
