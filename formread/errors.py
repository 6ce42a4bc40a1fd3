"""Everything that can go wrong, in the seller's words.

FormreadError
├── PhotoError          one photo (or PDF page) can't be used; the pile goes on without it
├── OutputError         a file asked for can't be written
├── ListError           a price list, street list or delivery note can't be used
└── UsageError          the command was asked for something that does not exist

Every message says what happened and what to do next, and never shows a traceback to a seller.
"""


class FormreadError(Exception):
    """The root of the tree: its text is a sentence for a person."""

    exit_status = 2


class PhotoError(FormreadError):
    """One photo can't be used."""

    exit_status = 3


class OutputError(FormreadError):
    """A result could not be written where it was asked for."""


class ListError(FormreadError):
    """A list that the seller brought (prices, streets, delivery note) can't be used."""


class UsageError(FormreadError):
    """What was asked for does not exist or does not make sense."""
