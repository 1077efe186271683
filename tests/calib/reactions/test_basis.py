from __future__ import annotations

import pytest

from calib.errors import ReactionError
from calib.estimate import Estimate
from calib.reactions.basis import basis_of, is_neutralization
from calib.reactions.equation import parse_equation

SULFURIC = parse_equation("H2SO4(aq) + 2 NaOH(aq) -> Na2SO4(aq) + 2 H2O(l)")
ALUMINIUM = parse_equation("2 Al(s) + 3 CuCl2(aq) -> 2 AlCl3(aq) + 3 Cu(s)")
NITRATE = parse_equation("KNO3(s) -> KNO3(aq)")


@pytest.mark.parametrize(
    ("equation", "wanted", "moles", "words"),
    [
        (SULFURIC, "", 2.0, "per mole of water formed"),
        (SULFURIC, "H2SO4(aq)", 1.0, "per mole of H2SO4(aq) reacting"),
        (SULFURIC, "NaOH", 2.0, "per mole of NaOH(aq) reacting"),
        (SULFURIC, "Water formed", 2.0, "per mole of water formed"),
        (NITRATE, "", 1.0, "per mole of KNO3(s) dissolved"),
        (NITRATE, "salt dissolved", 1.0, "per mole of KNO3(s) dissolved"),
        (ALUMINIUM, "", 1.0, f"per mole of reaction as written, {ALUMINIUM}"),
        (ALUMINIUM, "Al(s)", 2.0, "per mole of Al(s) reacting"),
        (ALUMINIUM, "Cu(s)", 3.0, "per mole of Cu(s) formed"),
    ],
)
def test_bases(equation, wanted, moles, words):
    basis = basis_of(equation, wanted)
    assert basis.moles_per_reaction == moles
    assert basis.words == words
    per = basis.convert(Estimate(-120.0, 3.0, "kJ/mol", "run"))
    assert (per.value, per.u) == pytest.approx((-120.0 / moles, 3.0 / moles))
    assert per.source.endswith(words)


@pytest.mark.parametrize(
    ("equation", "wanted", "message"),
    [
        (ALUMINIUM, "water", "forms no water"),
        (SULFURIC, "salt", "is no dissolution"),
        (SULFURIC, "KCl(aq)", r"KCl\(aq\) takes no part in .*; choose one of H2SO4\(aq\)"),
    ],
)
def test_bases_that_a_reaction_does_not_have(equation, wanted, message):
    with pytest.raises(ReactionError, match=message):
        basis_of(equation, wanted)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("HCl(aq) + NaOH(aq) -> NaCl(aq) + H2O(l)", True),
        ("H+(aq) + OH-(aq) -> H2O(l)", True),
        ("CH3COOH(aq) + NaOH(aq) -> NaCH3COO(aq) + H2O(l)", True),
        ("HCl(aq) + NaHCO3(s) -> NaCl(aq) + CO2(g) + H2O(l)", False),
        ("2 HCl(aq) + MgO(s) -> MgCl2(aq) + H2O(l)", False),
        ("HCl(aq) + NaOH(s) -> NaCl(aq) + H2O(l)", False),
        ("HCl(aq) + NH3(aq) -> NH4Cl(aq)", False),
    ],
)
def test_what_counts_as_a_neutralization(text, expected):
    assert is_neutralization(parse_equation(text)) is expected
