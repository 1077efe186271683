"""The version that every result and every stored constant carries."""

__version__ = "0.1.0"
