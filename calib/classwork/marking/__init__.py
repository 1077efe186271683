"""Marking: a group's own answer against its own readings, and the worked answer beside it."""
