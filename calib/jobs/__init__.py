"""Whole jobs, one call each: what a command does, for notebooks too."""
