"""Liquid water between 0 and 99 °C at 101.325 kPa, from a table made with IAPWS-95.

Source: Wagner & Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387-535 (IAPWS-95). The table has steps
of 1 K. Density and heat capacity are interpolated linearly (error below 8e-6, relative); the
enthalpy by the cubic Hermite polynomial whose slopes are the tabulated heat capacities, since

    (dh/dt)_p = c_p        h [J/g], t [°C], c_p [J/(g K)]

Every function takes one temperature or an array of them and returns the same shape.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, overload

import numpy as np

from calib.errors import SubstanceError
from calib.estimate import Estimate
from calib.substances import tables

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    FloatArray = NDArray[np.float64]

T_MIN_C, T_MAX_C = 0.0, 99.0
U_CP_J_PER_GK = 0.0021
"""Standard uncertainty of c_p. IAPWS R6-95 states 0.1 % (k = 2) for liquid water at this pressure
(memory): 0.05 % of 4.18 J/(g K)."""
U_DENSITY_G_PER_ML = 1e-6
SOURCE = "IAPWS-95, 101.325 kPa"
ICE_CP = Estimate(2.093, 0.03, "J/(g K)", "OpenStax Chemistry 2e, appendix E (found); u assumed")
"""Specific heat of ice near 0 °C."""
FUSION = Estimate(333.55, 0.3, "J/g", "fusion of ice at 0 °C, CRC Handbook (from memory)")
"""Heat of fusion of ice: 6.01 kJ/mol."""


@cache
def _columns() -> tuple[FloatArray, FloatArray, FloatArray]:
    table = tables.rows("water_iapws95")
    names = ("density_g_per_mL", "cp_J_per_gK", "enthalpy_J_per_g")
    rho, cp, h = (np.array([float(row[name]) for row in table]) for name in names)
    return rho, cp, h


def _checked(t_C: ArrayLike) -> FloatArray:
    t = np.asarray(t_C, dtype=np.float64)
    inside = (t >= T_MIN_C) & (t <= T_MAX_C)
    if not bool(np.all(inside)):
        worst = float(np.atleast_1d(t)[~np.atleast_1d(inside)][0])
        msg = (
            f"the properties of liquid water are tabulated from {T_MIN_C:g} to {T_MAX_C:g} °C, "
            f"not at {worst:g} °C; check the temperature and its unit"
        )
        raise SubstanceError(msg)
    return t


def _same_shape(values: FloatArray, like: FloatArray) -> float | FloatArray:
    return float(values) if like.ndim == 0 else values


def _linear(t: FloatArray, column: FloatArray) -> FloatArray:
    i = np.minimum(t.astype(np.intp), column.size - 2)
    return np.asarray(column[i] + (t - i) * (column[i + 1] - column[i]))


@overload
def density_g_per_mL(t_C: float) -> float: ...
@overload
def density_g_per_mL(t_C: FloatArray) -> FloatArray: ...
def density_g_per_mL(t_C: float | FloatArray) -> float | FloatArray:
    """Density of water. [g/mL]

    Raises SubstanceError outside 0 to 99 °C.

    >>> round(density_g_per_mL(25.0), 5)
    0.99705
    """
    t = _checked(t_C)
    return _same_shape(_linear(t, _columns()[0]), t)


@overload
def cp_J_per_gK(t_C: float) -> float: ...
@overload
def cp_J_per_gK(t_C: FloatArray) -> FloatArray: ...
def cp_J_per_gK(t_C: float | FloatArray) -> float | FloatArray:
    """Specific heat capacity of water at constant pressure. [J/(g K)]

    Raises SubstanceError outside 0 to 99 °C.

    >>> round(cp_J_per_gK(25.0), 4)
    4.1813
    """
    t = _checked(t_C)
    return _same_shape(_linear(t, _columns()[1]), t)


@overload
def enthalpy_J_per_g(t_C: float) -> float: ...
@overload
def enthalpy_J_per_g(t_C: FloatArray) -> FloatArray: ...
def enthalpy_J_per_g(t_C: float | FloatArray) -> float | FloatArray:
    """Specific enthalpy of water, zero at 0 °C; only its differences mean anything. [J/g]

    Raises SubstanceError outside 0 to 99 °C.

    >>> round(enthalpy_J_per_g(26.0) - enthalpy_J_per_g(25.0), 4)
    4.1811
    """
    t = _checked(t_C)
    _, cp, h = _columns()
    i = np.minimum(t.astype(np.intp), h.size - 2)
    s = t - i
    rise, bend = h[i + 1] - h[i], cp[i + 1] + cp[i]
    value = h[i] + s * (cp[i] + s * (3 * rise - cp[i] - bend + s * (bend - 2 * rise)))
    return _same_shape(np.asarray(value), t)


@overload
def mean_cp_J_per_gK(t1_C: float, t2_C: float) -> float: ...
@overload
def mean_cp_J_per_gK(t1_C: FloatArray, t2_C: FloatArray | float) -> FloatArray: ...
@overload
def mean_cp_J_per_gK(t1_C: float, t2_C: FloatArray) -> FloatArray: ...
def mean_cp_J_per_gK(t1_C: float | FloatArray, t2_C: float | FloatArray) -> float | FloatArray:
    """Mean heat capacity of water between two temperatures, (h2 - h1)/(t2 - t1). [J/(g K)]

    Where the two are closer than 1 mK the heat capacity at their middle is returned.
    Raises SubstanceError outside 0 to 99 °C.

    >>> round(mean_cp_J_per_gK(20.0, 40.0), 5)
    4.18045
    """
    t1, t2 = np.broadcast_arrays(_checked(t1_C), _checked(t2_C))
    span = t2 - t1
    close = np.abs(span) < 1e-3
    rise = np.asarray(enthalpy_J_per_g(t2)) - np.asarray(enthalpy_J_per_g(t1))
    middle = np.asarray(cp_J_per_gK((t1 + t2) / 2.0))
    value = np.where(close, middle, rise / np.where(close, 1.0, span))
    return _same_shape(value, t1)
