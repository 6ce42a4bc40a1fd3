"""Order forms drawn at random, filled in and photographed, with what is where: to train a finder of layouts.

Nothing here is taken from a real pad or from the designs that the project measures itself on: papers, wording,
rules, columns, totals, hands and light are each drawn at random and combined freely.

``python -m models.forms FONTS MNIST OUT.png`` draws a sheet of them with their places marked.
"""

from models.forms.drawing import Drawn, Place, draw_form
from models.forms.faces import Digits, Fonts

__all__ = ["Digits", "Drawn", "Fonts", "Place", "draw_form"]
