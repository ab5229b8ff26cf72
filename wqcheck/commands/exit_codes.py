"""Turns the outcome of a command into its exit code; 0 means released or fine."""

CHECKED_NOT_RELEASED = 1
NOT_CHECKED = 2
