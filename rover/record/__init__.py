"""The run record: one SQLite file a run, written while it lasts and read afterwards."""
