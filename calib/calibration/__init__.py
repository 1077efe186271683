"""Each cup's constant from its calibration runs."""
