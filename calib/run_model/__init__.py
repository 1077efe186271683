"""From a table's row to masses, compositions, amounts and heat capacities with their budget inputs.

``prepare`` turns a row into a ``PreparedRun``; ``find_rise`` gives it a temperature rise from its
curve or its readings. The heat balance itself is in :mod:`calib.balance`.
"""

from __future__ import annotations

from calib.run_model.prepared import PreparedRun, prepare
from calib.run_model.refusal import RowRefusedError
from calib.run_model.rise import Loss, Rise, find_rise

__all__ = ["Loss", "PreparedRun", "Rise", "RowRefusedError", "find_rise", "prepare"]
