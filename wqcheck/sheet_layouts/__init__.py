"""Turns what a user confirmed for the sheets of one laboratory into a small file, and the file into a record."""
