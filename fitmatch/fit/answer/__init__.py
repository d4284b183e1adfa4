"""The plan, its baselines and expected figures, and the check of everything."""
