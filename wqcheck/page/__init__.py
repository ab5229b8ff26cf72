"""Turns a checked batch into a page in the browser; each module draws one part of it from finished records."""
