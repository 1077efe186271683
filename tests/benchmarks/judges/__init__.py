"""Judges of the corrections: simulated cups with a sealed truth and ranges of their own.

``foam`` conducts heat through a real wall; ``lumped_wide`` is the project's own simulator drawn from
ranges twice as wide; ``two_bodies`` is the plainest cup there is. All give a `record.Judged` for a family and a seed; ``notebook_way`` is what a
student would write, the method that must not be lost to.
"""
