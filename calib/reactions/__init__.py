"""Equations, extents, and the enthalpies that handbooks give."""
