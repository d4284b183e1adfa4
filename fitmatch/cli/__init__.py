"""The command line: a room of commands for each sort of question, and what all of them share."""
