"""The command line's groups and what they print; :mod:`wqcheck.cli` puts them together."""
