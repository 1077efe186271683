"""Exercises with sealed answers, from cups that do not obey the models."""
