"""Electronic signatures on papers (PAdES, ETSI EN 319 142-1), with the optional packages of the extra ``sign``."""
