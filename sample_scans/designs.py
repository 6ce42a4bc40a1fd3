"""The slip designs of the committed samples: eight pads of invented firms that really differ."""

from sample_scans.forms import Column, Design, Total

WICKETS = Design(
    name="wickets", width=148, height=210,
    columns=(Column("code", "Code", 22), Column("description", "Description", 46), Column("quantity", "Qty", 14),
             Column("unit_price", "Price", 24), Column("line_total", "Total", 26)),
    totals=(Total("goods", "Goods total"), Total("delivery", "Delivery"), Total("total", "Total due")),
    rows=12, firm="Marrowfold Garden Sundries", title="Order form - please print clearly",
    small_print="Leave this form with the catalogue, ready for collection. Marrowfold is an invented firm.",
    thanks="Thank you for your order", head_font="arvo", body_font="lato", main=(30, 60, 130), accent=(30, 60, 130),
    heading_fill="tint", row_height=8.0, header=33, serial_label="No.",
)  # fmt: skip

BEAN = Design(
    name="bean", width=105, height=148,
    columns=(Column("quantity", "No.", 12), Column("description", "Item", 34), Column("unit_price", "Each", 22),
             Column("line_total", "£ p", 24)),
    totals=(Total("total", "TOTAL"),), rows=10, firm="Bobbin & Bean", title="seeds  wool  twine",
    small_print="Cheques payable to your agent.", thanks="With thanks", head_font="josefin-sans", body_font="open-sans",
    main=(25, 95, 60), accent=(25, 95, 60), rule_accent=True, row_height=7.6, header=31, margin=6.5,
    customer_style="dots", customer_labels=("Name", "Addr."), serial_colour=(25, 95, 60), serial_label="",
    rule_width=0.2, frame_width=0.5, heading_height=6.0,
)  # fmt: skip

JARS = Design(
    name="jars", width=210, height=99,
    columns=(Column("quantity", "How many", 16), Column("description", "Name of item", 40),
             Column("unit_price", "Cost each|£|p", 28, True), Column("line_total", "Amount|£|p", 30, True)),
    totals=(Total("discount", "Less discount"), Total("total", "To pay")), rows=6, firm="Haspen Valley Jar Company",
    title="Customer order", small_print="Jars travel in straw. Please return the crate.", thanks="",
    head_font="libre-baskerville", body_font="archivo-narrow", main=(60, 45, 40), accent=(150, 60, 30),
    header=13, table_left=64, customer="beside", customer_style="box", heading_height=8.5, row_height=7.4,
    between_rows="dotted", between_columns="solid", pitch=1.0, serial_place="bottom", serial_label="Slip no.",
)  # fmt: skip

WOOLS = Design(
    name="wools", width=148, height=210,
    columns=(Column("description", "Details", 44), Column("other", "Shade", 20), Column("unit_price", "Price", 24),
             Column("quantity", "Quantity", 17), Column("line_total", "Cost", 27)),
    totals=(Total("goods", "Sub-total"), Total("delivery", "Carriage"), Total("deposit", "Less deposit"),
            Total("total", "Balance to pay")),
    rows=11, firm="Quince Street Wools", title="Order slip", small_print="Dye lots are matched where we can.",
    thanks="Many thanks", head_font="libre-baskerville", body_font="libre-baskerville", main=(70, 50, 90),
    accent=(70, 50, 90), outer="none", between_columns="none", between_rows="solid", totals_frame="none",
    prefill="pound", row_height=8.2, header=32, margin=8, customer="right", serial_place="top left",
    serial_label="order number", rule_width=0.18, heading_size=2.2,
)  # fmt: skip

DIBBER = Design(
    name="dibber", width=99, height=210,
    columns=(Column("code", "Cat. No.", 24), Column("quantity", "Qty", 12), Column("unit_price", "Unit price", 24),
             Column("line_total", "Amount", 25)),
    totals=(Total("goods", "Goods"), Total("delivery", "P & P"), Total("total", "Amount due")), rows=14,
    firm="OLD DIBBER SEEDS", title="local agent's pad", small_print="Press hard: you are making two copies.",
    thanks="Thank you!", head_font="oswald", body_font="archivo-narrow", main=(35, 35, 40), accent=(35, 35, 40),
    between_rows="dashed", between_columns="dashed", prefill="point", heading_fill="solid", row_height=8.0,
    header=33, code_style="dashed", pitch=0.9, customer_labels=("Name", "House"), margin=6,
)  # fmt: skip

FELLS = Design(
    name="fells", width=210, height=148,
    columns=(Column("page", "Page", 14), Column("code", "Item no.", 24), Column("description", "Description", 48),
             Column("size", "Size", 17), Column("quantity", "Qty", 14), Column("unit_price", "Unit price", 24),
             Column("line_total", "Total price", 27)),
    totals=(Total("goods", "Total of goods"), Total("delivery", "Post & packing"), Total("discount", "Discount"),
            Total("total", "TOTAL TO PAY")),
    rows=7, firm="Thistlewick Country Stores", title="Catalogue order - one customer to a slip",
    small_print="Goods may be returned within 14 days. An invented firm.", thanks="Thank you for your order",
    head_font="lato", body_font="lato", main=(150, 35, 45), accent=(150, 35, 45), outer="double", stripes=True,
    row_height=7.6, header=30, code_style="six", upper=False, customer="left",
)  # fmt: skip

PENNY = Design(
    name="penny", width=148, height=105,
    columns=(Column("description", "ITEM", 48), Column("unit_price", "PRICE", 25), Column("quantity", "NO.", 14),
             Column("line_total", "TOTAL", 27)),
    totals=(Total("total", "Total £"),), rows=6, firm="Penny Lark's Kitchen Garden", title="weekly order",
    small_print="", thanks="see you Thursday", head_font="josefin-sans", body_font="josefin-sans", main=(0, 90, 110),
    accent=(0, 90, 110), prefill="dots", row_height=7.0, header=26, margin=6, outer="solid", between_rows="none",
    between_columns="solid", serial_place="top right", serial_label="Order no.", heading_fill="none",
)  # fmt: skip

SORREL = Design(
    name="sorrel", width=148, height=210,
    columns=(Column("quantity", "QUANTITY", 17), Column("code", "CODE", 24), Column("description", "ITEM", 38),
             Column("unit_price", "UNIT PRICE|£|p", 29, True), Column("line_total", "LINE TOTAL|£|p", 31, True)),
    totals=(Total("goods", "Goods total"), Total("discount", "Discount"), Total("delivery", "Delivery charge"),
            Total("total", "Total")),
    rows=10, firm="Sorrel & Teasel", title="garden order - top copy to agent",
    small_print="E. & O. E. Prices as in the spring book.", thanks="", head_font="oswald", body_font="open-sans",
    main=(70, 72, 80), accent=(170, 90, 20), rule_accent=True, row_height=8.4, header=33, heading_height=8.5,
    heading_fill="tint", code_style="slashed", customer_style="box", rule_width=0.22,
)  # fmt: skip

DESIGNS = {design.name: design for design in (WICKETS, BEAN, JARS, WOOLS, DIBBER, FELLS, PENNY, SORREL)}
"""The committed samples' designs by name."""
