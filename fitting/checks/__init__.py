"""What is looked at before and after a correction, without being asked.

`glitches` (single wrong readings are set aside and named), `faults` and `range_end` (a sensor that
left the cup or stopped), `loss_change` (the cup loses more or less from a moment on), `moment` (a
noted moment of mixing that lies off the jump), `plausible` (a correction of the wrong sign).
"""
