"""What is written in each box, with probabilities.

``read_boxes`` is the one door; ``join_pounds_pence`` puts the halves of a split column together.
"""

from formread.reading.boxes import read_boxes
from formread.reading.split import join_pounds_pence

__all__ = ["join_pounds_pence", "read_boxes"]
