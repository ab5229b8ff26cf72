"""Commissioning reports of a train as files: PDF, workbook and JSON."""
