"""formread reads photos of handwritten order slips and says which totals are wrong, and by how much."""

__version__ = "0.1.0"
