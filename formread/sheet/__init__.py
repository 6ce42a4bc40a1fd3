"""Find every slip in a photo and flatten it: outline, curl, skew, which way up.

One door: ``formread.sheet.search.find_sheets``.
"""
