"""Money as a whole number of minor units, and as text at the edges.

Currencies and their number of minor-unit digits follow ISO 4217 (list one, 2024-06-25; from memory for the
currencies named here).
"""

from dataclasses import dataclass

from formread.errors import UsageError


@dataclass(frozen=True, slots=True)
class Currency:
    """A currency by its ISO 4217 code.

    Attributes
    ----------
    code
        Three letters.
    digits
        Digits of the minor unit: 2 for GBP, 0 for JPY, 3 for BHD.
    symbol
        The sign written before an amount, or ``""`` where the code is used instead.
    """

    code: str
    digits: int
    symbol: str

    @property
    def unit(self) -> int:
        """Minor units in one major unit."""
        return int(10**self.digits)


CURRENCIES = {
    currency.code: currency
    for currency in (
        Currency("GBP", 2, "£"),
        Currency("EUR", 2, "€"),
        Currency("USD", 2, "$"),
        Currency("AUD", 2, "$"),
        Currency("CAD", 2, "$"),
        Currency("NZD", 2, "$"),
        Currency("CHF", 2, ""),
        Currency("SEK", 2, ""),
        Currency("NOK", 2, ""),
        Currency("DKK", 2, ""),
        Currency("PLN", 2, ""),
        Currency("CZK", 2, ""),
        Currency("ZAR", 2, "R"),
        Currency("INR", 2, "₹"),
        Currency("JPY", 0, "¥"),
        Currency("KRW", 0, "₩"),
        Currency("ISK", 0, ""),
        Currency("BHD", 3, ""),
        Currency("KWD", 3, ""),
        Currency("TND", 3, ""),
    )
}


def currency(code: str) -> Currency:
    """Look a currency up by its ISO 4217 code.

    Raises
    ------
    UsageError
        For a code that formread does not know.
    """
    found = CURRENCIES.get(code.upper())
    if found is None:
        raise UsageError(
            f"formread does not know the currency {code!r}. Use one of: {', '.join(sorted(CURRENCIES))}."
        )
    return found


def format_plain(amount: int, unit: Currency) -> str:
    """Write minor units as a plain decimal number: ``-1298`` becomes ``-12.98`` for GBP."""
    sign = "-" if amount < 0 else ""
    if unit.digits == 0:
        return f"{sign}{abs(amount)}"
    whole, part = divmod(abs(amount), unit.unit)
    return f"{sign}{whole}.{part:0{unit.digits}d}"


def format_money(amount: int, unit: Currency) -> str:
    """Write minor units for a person: ``1298`` is ``£12.98``, or ``CHF 12.98`` where there is no sign."""
    mark = unit.symbol or f"{unit.code} "
    plain = format_plain(amount, unit)
    return f"-{mark}{plain[1:]}" if amount < 0 else f"{mark}{plain}"
