"""A single extreme reading, corrected without a curve."""
