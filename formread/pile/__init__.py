"""Many photos at once: run them, report them."""
