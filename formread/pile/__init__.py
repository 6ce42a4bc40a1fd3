"""Many photos at once: run them, report them."""

from formread.pile.gather import PhotoFile, gather
from formread.pile.picture import write_pictures
from formread.pile.run import Pile, check, default_jobs

__all__ = ["PhotoFile", "Pile", "check", "default_jobs", "gather", "write_pictures"]
