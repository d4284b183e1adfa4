"""The database: tables, where it is, how it is opened, read and written."""
