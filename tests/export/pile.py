"""One invented pile, made by hand, for the tests of everything that goes out.

The stall, its customers and their goods are invented. Every figure was worked by hand from the line above it.
"""

from formread.slips import Charge, Line, Problem, Report, Slip

CORNERS = ((100.0, 80.0), (900.0, 90.5), (890.0, 1500.0), (95.0, 1490.0))

PILE = Report(
    currency="GBP",
    slips=(
        # 2 x 4.50 + 3 x 2.25 = 9.00 + 6.75 = 15.75; delivery 1.50 makes 17.25.
        Slip(
            photo="IMG_0001.jpg",
            page=1,
            outline=CORNERS,
            slip_number="0041",
            customer="Marlow Tench",
            lines=(
                Line(1, "012-07", "Lavender soap", 2, 450, 900),
                Line(2, "104-31", "Beeswax balm", 3, 225, 675),
            ),
            charges=(Charge("delivery", 150),),
            written_total=1725,
            computed_total=1725,
            difference=0,
            verdict="agrees",
            probability_wrong=0.0004,
            reason="The lines and the delivery come to the total.",
            right_line_totals=((1, 900), (2, 675)),
            at_stake=0,
        ),
        # 4 x 3.95 = 15.80, but 16.80 is written; no price in row 2, so 6.00 counts; row 3 is struck out.
        # 15.80 + 6.00 = 21.80 against 22.80.
        Slip(
            photo="IMG_0002.jpg",
            page=1,
            outline=CORNERS,
            slip_number="0042",
            customer="Odile Pym",
            lines=(
                Line(1, "230-11", "Rosemary oil", 4, 395, 1680),
                Line(2, "007-02", "Bath salts", None, None, 600),
                Line(3, "007-03", "Hand cream", 1, 499, 499, struck_out=True),
            ),
            charges=(),
            written_total=2280,
            computed_total=2180,
            difference=100,
            verdict="wrong",
            probability_wrong=0.997,
            reason="Row 1: 4 x £3.95 is £15.80, but £16.80 is written: a carry too many.",
            right_line_totals=((1, 1580), (2, 600)),
            suspect_rows=(1,),
            at_stake=100,
        ),
        # A blank quantity counts as one: 7.20 + 2 x 12.40 = 32.00; less 10 off in all and 5.00 paid: 26.00.
        Slip(
            photo="IMG_0003.jpg",
            page=1,
            outline=CORNERS,
            slip_number="0043",
            customer='=HYPERLINK("x")',
            lines=(
                Line(1, "300-00", "Candle, tall", None, 720, 720),
                Line(2, "300-01", "Candle, set of six", 2, 1240, None),
            ),
            charges=(Charge("discount", -100), Charge("deposit", -500)),
            written_total=1600,
            computed_total=2600,
            difference=-1000,
            verdict="wrong",
            probability_wrong=0.999,
            reason="Ten pounds too little: a carry is missing in the sum of the lines.",
            right_line_totals=((1, 720), (2, 2480)),
            at_stake=1000,
        ),
        # No total written: 5 x 1.10 = 5.50.
        Slip(
            photo="IMG_0004.jpg",
            page=1,
            outline=CORNERS,
            lines=(Line(1, "118-40", None, 5, 110, 550),),
            charges=(),
            written_total=None,
            computed_total=550,
            difference=None,
            verdict="unsure",
            probability_wrong=0.5,
            reason="No total is written.",
            right_line_totals=((1, 550),),
            ask="the total",
            at_stake=0,
        ),
        # 1 x 8.15 against 8.75: is it a 1 or a 7?
        Slip(
            photo="IMG_0004.jpg",
            page=1,
            outline=CORNERS,
            slip_number="0045",
            customer="Tilda Wray",
            lines=(Line(1, "118-41", "Oat scrub", 1, 815, 815),),
            charges=(),
            written_total=875,
            computed_total=815,
            difference=60,
            verdict="unsure",
            probability_wrong=0.41,
            reason="The total may read £8.75 or £8.15.",
            right_line_totals=((1, 815),),
            ask="the total",
            at_stake=25,
        ),
    ),
    problems=(Problem("IMG_0005.jpg", None, "The photo is cut off in the middle. Copy it again."),),
)
