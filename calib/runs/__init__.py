"""Tables of runs and the instruments they were read with."""
