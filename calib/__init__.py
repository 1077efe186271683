"""From readings to heat capacities, enthalpies and their uncertainty."""
