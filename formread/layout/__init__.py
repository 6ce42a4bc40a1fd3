"""What each box of a sheet means: rules, rows and columns, roles."""
