"""Studies: what a job could be, and what its drawings allow."""
