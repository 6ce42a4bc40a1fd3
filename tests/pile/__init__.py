"""Tests of the pile."""
