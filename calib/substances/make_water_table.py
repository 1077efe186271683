"""Make ``data/water_iapws95.tsv``: water at 101.325 kPa, 0 to 99 °C in steps of 1 K.

Equation: IAPWS-95 (Wagner & Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387-535), evaluated by
CoolProp; the density is compared with the independent coding in ``chemicals`` before anything is
written. Run from the repository: ``python -m calib.substances.make_water_table``. It needs the test
requirements; nothing at run time does.
"""

from __future__ import annotations

from pathlib import Path

PRESSURE_PA = 101_325.0
TABLE = Path(__file__).parent / "data" / "water_iapws95.tsv"


def _rows() -> list[tuple[int, float, float, float]]:
    from chemicals.iapws import iapws95_rho
    from CoolProp.CoolProp import PropsSI

    rows: list[tuple[int, float, float, float]] = []
    for t_C in range(100):
        T = t_C + 273.15
        rho = float(iapws95_rho(T, PRESSURE_PA))  # type: ignore[no-untyped-call]
        # by (T, density): at 0 °C water is 3 mK below its freezing point, where (T, p) is refused
        p, cp, h = (PropsSI(key, "T", T, "Dmass", rho, "Water") for key in ("P", "C", "H"))
        if abs(p - PRESSURE_PA) > 200.0:  # 1e-7 in density
            msg = f"the two codings of IAPWS-95 differ at {t_C} °C: {p} Pa"
            raise ArithmeticError(msg)
        rows.append((t_C, rho / 1000.0, cp / 1000.0, h / 1000.0))
    return [(t, rho, cp, h - rows[0][3]) for t, rho, cp, h in rows]


def main() -> None:
    """Write the table."""
    lines = [
        "# water, liquid, 101.325 kPa, IAPWS-95; made by calib/substances/make_water_table.py",
        "t_C\tdensity_g_per_mL\tcp_J_per_gK\tenthalpy_J_per_g",
    ]
    lines += [f"{t}\t{rho:.8f}\t{cp:.7f}\t{h:.6f}" for t, rho, cp, h in _rows()]
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
