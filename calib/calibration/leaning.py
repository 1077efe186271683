"""A cup's constant drawn towards its kind, on request; the cup's own value stays on record."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from calib.calibration.kinds import Shrunk, shrink
from calib.calibration.report import CupConstant, WallPart
from calib.errors import InputError

__all__ = ["lean_on_kind"]


def lean_on_kind(
    constant: CupConstant, others: Mapping[str, tuple[float, float]]
) -> tuple[CupConstant, Shrunk]:
    """The constant drawn towards the other cups of its kind, and how; see :func:`shrink`.

    ``others`` are those cups' constants with u. [J/K] The 95 % interval takes the fewer degrees of
    freedom of the cup's own runs and of the spread between the others, and u is half the 68.3 %
    interval. Raises InputError for fewer than three others, and where the cup has no constant.
    """
    from scipy.special import stdtrit

    own = constant.combined
    if own is None:
        raise InputError(f"{constant.apparatus} has no constant that could be drawn anywhere")
    if constant.failed_quality:
        raise InputError(
            f"the constant of {constant.apparatus} failed its checks ({constant.failed_quality}); "
            "drawing it towards its kind would hide that"
        )
    cups = {**others, constant.apparatus: (own.value, own.u)}
    drawn = shrink(constant.apparatus, cups)
    dof = min(own.dof, float(drawn.kind.cups - 1) / max(1.0 - drawn.weight, 1e-9))
    wide, narrow = stdtrit(dof, (0.975, 0.841345)) if math.isfinite(dof) else (1.96, 1.0)
    half, u = float(wide) * drawn.u_J_per_K, float(narrow) * drawn.u_J_per_K
    drawn = replace(drawn, u_J_per_K=u)
    combined = replace(
        own, value=drawn.value_J_per_K, u=u, dof=dof,
        interval95=(drawn.value_J_per_K - half, drawn.value_J_per_K + half),
    )  # fmt: skip
    return replace(
        constant,
        combined=combined,
        method=f"{constant.method}, drawn towards its kind",
        warnings=(*constant.warnings, drawn.sentence),
        drawn=drawn,
        wall=_kept(constant.wall, drawn.weight),
    ), drawn


def _kept(wall: WallPart | None, weight: float) -> WallPart | None:
    """The wall part of what is kept of the cup's own value: the others' walls are independent."""
    return replace(wall, part_J_per_K=weight * wall.part_J_per_K) if wall is not None else None
