"""Corrections for heat loss, one module a method."""
