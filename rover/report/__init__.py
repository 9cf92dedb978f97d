"""The report of a run: one HTML file, made of its record."""
