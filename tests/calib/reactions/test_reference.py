from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

import pytest

from calib.errors import ReactionError
from calib.reactions import formation, make_formation_table
from calib.reactions.data_rows import data_rows
from calib.reactions.equation import parse_equation
from calib.reactions.formation import codata, ionization, nbs
from calib.reactions.heat_capacity_change import delta_cp, lacking_cp
from calib.reactions.ionic import net_numbers
from calib.reactions.known import known_for, known_reaction, known_reactions
from calib.reactions.reference import dissolving, enthalpies_by_set, reference_enthalpy


def value(text):
    return reference_enthalpy(parse_equation(text)).value


def test_one_set_at_a_time():
    """With CODATA NH4+ and NBS NH4Cl(s) mixed, the enthalpy of solution would shift by 0.7."""
    both = enthalpies_by_set(parse_equation("NH4Cl(s) -> NH4Cl(aq)"))
    assert set(both) == {"NBS"}
    assert both["NBS"].value == pytest.approx(-132.5 - 167.2 + 314.4)
    mixed = -133.26 - 167.08 + 314.4
    assert abs(mixed - both["NBS"].value) > 0.6


def test_codata_is_taken_where_it_reaches_and_named():
    found = reference_enthalpy(parse_equation("Zn(s) + CuSO4(aq) -> ZnSO4(aq) + Cu(s)"))
    assert found.value == pytest.approx(-153.39 - 64.9)
    assert "CODATA" in found.source
    assert (
        "from memory" in found.source
    )  # both ions' values were not to be seen in the table itself
    assert found.u == pytest.approx((0.10**2 + 0.5**2) ** 0.5)


def test_directly_published_enthalpy_of_solution_comes_first():
    found = reference_enthalpy(parse_equation("KCl(s) -> KCl(aq)"))
    assert found.value == 17.22
    assert "Parker" in found.source
    ionic = reference_enthalpy(parse_equation("KCl(s) -> K+(aq) + Cl-(aq)"))
    assert ionic.value == found.value
    double = reference_enthalpy(parse_equation("2 KCl(s) -> 2 KCl(aq)"))
    assert (double.value, double.u) == (2 * found.value, 2 * found.u)


def test_hydrates_with_and_without_their_water_written():
    with_water = "NaCH3COO·3H2O(s) -> NaCH3COO(aq) + 3 H2O(l)"
    assert value(with_water) == 19.66
    assert dissolving(parse_equation(with_water)) is not None


def test_reversed_and_scaled_reactions_follow():
    forward = value("MgO(s) + 2 HCl(aq) -> MgCl2(aq) + H2O(l)")
    assert value("MgCl2(aq) + H2O(l) -> MgO(s) + 2 HCl(aq)") == pytest.approx(-forward)
    assert value("2 MgO(s) + 4 HCl(aq) -> 2 MgCl2(aq) + 2 H2O(l)") == pytest.approx(2 * forward)


def test_molecular_ionic_and_net_ionic_agree():
    molecular = value("HCl(aq) + KOH(aq) -> KCl(aq) + H2O(l)")
    assert value("H+(aq) + OH-(aq) -> H2O(l)") == pytest.approx(molecular)
    assert value("H3O+(aq) + OH-(aq) -> 2 H2O(l)") == pytest.approx(molecular)
    full = "H+(aq) + Cl-(aq) + K+(aq) + OH-(aq) -> K+(aq) + Cl-(aq) + H2O(l)"
    assert value(full) == pytest.approx(molecular)


def test_what_is_missing_is_named_exactly():
    oxalic = parse_equation("H2C2O4·2H2O(s) + 2 NaOH(aq) -> Na2C2O4(aq) + 4 H2O(l)")
    with pytest.raises(ReactionError, match=r"NBS lacks H2C2O4·2H2O\(s\)[;.]"):
        reference_enthalpy(oxalic)


def test_family_of_an_acid_counts_only_where_it_cancels():
    one = ionization()
    first = parse_equation("KHC8H4O4(aq) + NaOH(aq) -> KNaC8H4O4(aq) + H2O(l)")
    assert one.missing(net_numbers(first)) == ()
    # citrate appears from nowhere: relative values must not be added up as if they were absolute
    broken = parse_equation("Na+(aq) -> C6H5O7-3(aq)", check=False)
    assert any(s.formula == "C6H5O7" for s in one.missing(net_numbers(broken)))


def test_elements_and_the_hydrogen_ion_are_nought():
    for text in ("Zn(s)", "H2(g)", "O2(g)", "Br2(l)", "H+(aq)"):
        from calib.reactions.equation import parse_species

        for one in (codata(), nbs()):
            assert one.get(parse_species(text)).value == 0.0


def test_every_codata_species_has_its_uncertainty_halved_and_a_letter():
    assert all(entry.u > 0 and entry.letter in "FLMC" for entry in codata().values.values())
    assert codata().values["Na", "aq", 1].u == pytest.approx(0.03)


def test_shipped_table_is_what_the_library_gives():
    """The generator, run now, gives the committed file (chemicals, MIT licence)."""
    rows = make_formation_table.ion_rows() + make_formation_table.substance_rows()
    shipped = data_rows("formation_nbs")
    assert len(shipped) == len(rows)
    by_key = {tuple(row[:3]): row for row in shipped}
    for row in rows:
        mine = by_key[tuple(row[:3])]
        assert float(mine[3]) == pytest.approx(float(row[3]), abs=1e-9)
        assert (mine[4] == "") == (row[4] == "")


def test_shipped_table_is_plain_tsv():
    path = Path(formation.__file__).parent / "data" / "formation_nbs.tsv"
    text = path.read_text(encoding="utf-8")
    body = [line for line in text.splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(StringIO("\n".join(body)), delimiter="\t"))
    assert tuple(rows[0]) == make_formation_table.HEADER
    assert len({(r["formula"], r["state"], r["charge"]) for r in rows}) == len(rows)


@pytest.mark.parametrize(
    "name", ["SRM 724a", "srm-724a", "TRIS in hydrochloric acid", "Tris + HCl"]
)
def test_certified_reactions_by_name(name):
    assert known_reaction(name).substance == "C4H11NO3"


def test_known_reactions_are_found_by_equation():
    assert known_for(parse_equation("2 KCl(s) -> 2 K+(aq) + 2 Cl-(aq)")).name.startswith(
        "potassium"
    )
    assert known_for(parse_equation("KCl(aq) -> KCl(s)")) is None
    assert known_for(parse_equation("NaCl(s) -> NaCl(aq)")) is None
    assert all(not known.equation.imbalance() for known in known_reactions())


def test_dcp_from_ions_and_solids_by_hand():
    # CRC: K+ 21.8, Cl- -136.4, KCl(s) 51.3 J/(mol K) (L)
    found = delta_cp(parse_equation("KCl(s) -> KCl(aq)"))
    assert found.value == pytest.approx((21.8 - 136.4 - 51.3) / 1e3)
    assert delta_cp(parse_equation("2 KCl(s) -> 2 KCl(aq)")).value == pytest.approx(2 * found.value)


def test_dcp_says_what_is_lacking():
    citrate = parse_equation("H3C6H5O7(aq) + 3 NaHCO3(s) -> Na3C6H5O7(aq) + 3 CO2(g) + 3 H2O(l)")
    assert delta_cp(citrate) is None
    assert [str(s) for s in lacking_cp(citrate)] == ["C6H5O7^3-(aq)"]


def test_dcp_takes_all_dissolved_species_from_one_table():
    """Mg+2 is lacking in the CRC table, so Cl- too is taken from the other, and cancels."""
    magnesium = delta_cp(parse_equation("Mg(s) + 2 HCl(aq) -> MgCl2(aq) + H2(g)"))
    ions = delta_cp(parse_equation("Mg(s) + 2 H+(aq) -> Mg+2(aq) + H2(g)"))
    # Mg+2 -22.3 (F, aqueous species table), H2 28.8, Mg 24.9 J/(mol K) (M, L)
    assert 1e3 * magnesium.value == pytest.approx(-22.3 + 28.8 - 24.9, abs=0.2)
    assert magnesium.value == pytest.approx(ions.value)
    assert magnesium.u > 0.015
    # zinc: the tables say 46 and -23, and half the difference is its u
    zinc = delta_cp(parse_equation("Zn(s) + 2 H+(aq) -> Zn+2(aq) + H2(g)"))
    assert zinc.u > 0.03


def test_dcp_of_a_reaction_and_its_reverse_cancel():
    forward = delta_cp(parse_equation("CH3COOH(aq) + NaOH(aq) -> NaCH3COO(aq) + H2O(l)"))
    back = delta_cp(parse_equation("NaCH3COO(aq) + H2O(l) -> CH3COOH(aq) + NaOH(aq)"))
    assert forward.value == pytest.approx(-back.value)
