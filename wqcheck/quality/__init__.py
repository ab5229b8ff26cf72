"""The data's own consistency, found before anything is judged."""
