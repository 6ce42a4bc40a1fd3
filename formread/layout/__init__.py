"""What each box of a sheet means: rules, rows and columns, roles."""

from formread.layout.propose import propose_layouts

__all__ = ["propose_layouts"]
