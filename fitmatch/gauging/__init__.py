"""From readings to sizes, form, uncertainty and doubts, as a metrologist would work them out."""
