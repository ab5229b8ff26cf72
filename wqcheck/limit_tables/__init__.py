"""The official limits as data: tables of published limits read, checked and written back as CSV or XLSX."""
