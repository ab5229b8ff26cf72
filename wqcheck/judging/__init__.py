"""A verdict for every reported result and limit."""
