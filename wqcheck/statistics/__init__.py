"""Statistics over time with non-detects, sampling plans, rounding and probability of conformity."""
