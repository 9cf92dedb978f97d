"""Bring-up: a person is walked through first power-on, each part by itself, wheels off the ground."""
