"""Everything that goes out: spreadsheet, CSV, JSON, pictures."""
