"""Tells a person who is elsewhere what happened, by mail or by a program of theirs, however long that takes.

The run's thread only appends to a queue (`post`); a thread beside it puts each notice into an outbox, a SQLite file; a
process of its own (`python -m rover.notices`) sends what is in it, and goes on after the run until nothing waits.
"""
