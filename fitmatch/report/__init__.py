"""What a plan looks like from outside: text for the bench, one JSON document, one table of rows."""
