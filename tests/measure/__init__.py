"""Measurements: accuracy and speed, printed as tables; no test depends on them."""
