"""A plan as output: text for the bench, one JSON document, one table of rows."""
