"""The report on one screen: what the bench needs, in as few lines as it takes."""
