"""What must not be put together, asked before anything is worked out.

``kinds.py``: to which kinds a substance belongs. ``pairs.py``: which kinds must not meet, what
comes of it, and who says so. ``classes.py``: each substance's hazard statements, and what is never
ground. ``asking.py``: the questions that plans, tables, equations and single words ask.

It reminds; it does not replace the safety data sheet, the local rules or qualified staff. That no
pair is found here never means that a mixture is safe.
"""
