"""A .csv or .xlsx file to a header and rows."""
