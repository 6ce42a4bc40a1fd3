"""Tests of finding and flattening slips."""
