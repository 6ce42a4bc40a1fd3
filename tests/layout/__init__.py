"""Tests of formread.layout: tiny drawn slips whose answer is known."""
