"""Parts of :mod:`calib.enthalpy`: the constant applied, one run, physical processes, summaries."""
