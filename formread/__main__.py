"""Run the command line as ``python -m formread``."""

from formread.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
