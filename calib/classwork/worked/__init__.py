"""Worked answers: a run's calculation step by step, at two depths, and why they differ."""
