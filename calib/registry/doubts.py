"""Is a constant plausible? The one place that import, merge and approval ask before it is in force.

A constant that is doubted stays a draft, with the reason; a person who knows better approves it
with a reason of their own. These are bounds that every cup of a school keeps; they are judgement,
no published source. What a calibration itself finds doubtful comes with it as ``failed_quality``.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from calib.registry.records import StoredConstant

PART_OF_CONTENT = 0.5  # a cup takes up less than half of what its content does
OF_WATER = 4.18  # J/(mL K), near enough for a bound
LARGEST_ANYWHERE = 2000.0  # J/K, where the fill is not known
LARGEST_LOSS = 3.0  # W/K; an open beaker of a litre on a draughty bench loses a third of it
FILLS = (5.0, 5000.0)  # mL
CERTAIN = 3.0  # standard uncertainties
NARROWEST, WIDEST = 0.9, 65.0  # half a 95 % interval in u: normal 1.96, Student with 1 d.o.f. 12.7


def doubts(
    connection: Connection, constant: StoredConstant, *, companions: Sequence[StoredConstant] = ()
) -> tuple[str, ...]:
    """Why this constant cannot well be what it says; empty where nothing speaks against it.

    ``connection`` is there for rules that hold it against the registry's other constants,
    ``companions`` are those that come in with it.
    """
    return (
        *_value(constant),
        *_loss(constant),
        *_fill(constant),
        *own_interval(constant),
    )


def _value(k: StoredConstant) -> tuple[str, ...]:
    value, u = k.constant_J_per_K, k.u_constant_J_per_K
    if value < -CERTAIN * u:
        return (f"the constant, {value:.4g} ± {u:.2g} J/K, is negative beyond its uncertainty",)
    content = None if k.fill_mL is None else OF_WATER * (k.fill_mL[0] + k.fill_mL[1]) / 2.0
    most = LARGEST_ANYWHERE if content is None else PART_OF_CONTENT * content
    if value - CERTAIN * u > most > 0.0:
        of = "any cup" if content is None else f"a cup whose content takes up {content:.4g} J/K"
        return (f"the constant, {value:.4g} J/K, is too large for {of}",)
    return ()


def _loss(k: StoredConstant) -> tuple[str, ...]:
    loss, u = k.heat_loss_W_per_K, k.u_heat_loss_W_per_K or 0.0
    if loss is None:
        return ()
    if loss + CERTAIN * u < 0.0:
        return (f"the heat loss, {loss:.3g} ± {u:.2g} W/K, is negative beyond its uncertainty",)
    if loss - CERTAIN * u > LARGEST_LOSS:
        return (f"the heat loss, {loss:.3g} W/K, is larger than that of any open beaker",)
    return ()


def _fill(k: StoredConstant) -> tuple[str, ...]:
    if k.fill_mL is None or (FILLS[0] <= k.fill_mL[0] and k.fill_mL[1] <= FILLS[1]):
        return ()
    return (f"the fill, {k.fill_mL[0]:.4g} to {k.fill_mL[1]:.4g} mL, is that of no cup",)


def own_interval(k: StoredConstant) -> tuple[str, ...]:
    """Whether the value and u agree with the 95 % interval that the calibration left."""
    low, high = k.interval95_J_per_K
    value, u = k.constant_J_per_K, k.u_constant_J_per_K
    slack = 1e-9 * max(abs(low), abs(high), u)
    if not low - slack <= value <= high + slack:
        return (f"the value, {value:.4g} J/K, lies outside its own interval, {low:.4g} to"
                f" {high:.4g} J/K",)  # fmt: skip
    if not NARROWEST * u <= (high - low) / 2.0 <= WIDEST * u:
        return (f"u, {u:.2g} J/K, does not fit its own interval, {low:.4g} to {high:.4g} J/K",)
    return ()
