"""Tests that mirror the rooms of formread."""
