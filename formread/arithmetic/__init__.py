"""The judge: was the customer's sum right? Pure numbers, no pixels."""

from formread.arithmetic.evidence import Confirmed, Tabled
from formread.arithmetic.judge import judge, pile_prices

__all__ = ["Confirmed", "Tabled", "judge", "pile_prices"]
