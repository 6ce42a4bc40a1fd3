"""What the pile means in goods: price list, order totals, delivery note, shorts, packing.

Knows slips, not photos of slips; a photographed delivery note is the one picture that is read here.
"""
