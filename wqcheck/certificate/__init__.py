"""A certificate or notice as data, in lines and words."""
