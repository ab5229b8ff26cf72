"""The record store: batches, readings, decisions and documents, kept so that nothing is ever changed in place."""
