"""The phone's door: a second listener on the home network, there only while a phone is invited."""

from typing import Protocol


class PhoneDoor(Protocol):
    """Opens on the home network when asked to, and closes again."""

    @property
    def address(self) -> str | None:
        """``HOST:PORT`` under which a phone finds the desk; None while the door is closed."""

    async def open(self) -> str:
        """Open the door and return its address.

        Raises
        ------
        formread.errors.UsageError
            When this computer is on no network, or the door can't be opened.
        """

    async def close(self) -> None:
        """Close the door."""
