"""The command line: a module for every command."""
