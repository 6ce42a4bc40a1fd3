"""Open a desk for the tests, as ``formread desk`` does, with this computer as its own home network."""

import sys
from pathlib import Path

from formread.web.serve import serve

if __name__ == "__main__":
    serve(Path(sys.argv[1]), 0, "GBP", browser=False, home=lambda: "127.0.0.1")
