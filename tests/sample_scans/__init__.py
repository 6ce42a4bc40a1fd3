"""Tests of the sample scans: their truth, and the code that draws them."""
