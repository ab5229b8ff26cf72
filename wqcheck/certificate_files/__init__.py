"""A certificate as files: PDF/A-3b, XLSX and JSON."""
