"""The commands of one job, from its empty folder to the engine measured with its shells in."""
