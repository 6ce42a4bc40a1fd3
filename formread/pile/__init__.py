"""Many photos at once: run them, report them."""

from formread.pile.gather import PhotoFile, gather
from formread.pile.picture import write_pictures
from formread.pile.run import Known, Pile, check, default_jobs, judge_pile

__all__ = ["Known", "PhotoFile", "Pile", "check", "default_jobs", "gather", "judge_pile", "write_pictures"]
