"""The treatment train: its description and what each stage removes."""
