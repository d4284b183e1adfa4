"""The steady oil film: what a clearance does to its thickness, heat and flow."""
