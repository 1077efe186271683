"""Temperature curves and their correction for heat loss: numbers only."""
