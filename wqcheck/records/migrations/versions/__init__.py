"""One module per step of the schema, in the order of their numbers."""
