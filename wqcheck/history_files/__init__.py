"""The report over a period: what became of its batches, what its results say over time, and what drifts."""
