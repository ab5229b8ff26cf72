"""Blank request sheets that a laboratory fills in."""
