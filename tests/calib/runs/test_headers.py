"""Headings: every tolerant spelling that the documentation promises, and what must stay apart."""

from __future__ import annotations

import pytest

from calib.runs.columns import COLUMNS, NUMBERS
from calib.runs.headers import read_heading


@pytest.mark.parametrize("name", COLUMNS)
def test_documented_names_are_read_without_a_note(name):
    heading = read_heading(name)
    assert heading.name == name
    assert heading.note == ""


@pytest.mark.parametrize("name", NUMBERS)
def test_every_number_column_has_an_uncertainty_column(name):
    heading = read_heading(f"u_{name}")
    assert (heading.column, heading.uncertainty, heading.note) == (name, True, "")


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Added (mL)", "added_mL"),
        ("added / mL", "added_mL"),
        ("added/mL", "added_mL"),
        ("ADDED ML", "added_mL"),
        ("Added\n[mL]", "added_mL"),
        ("  added   mL ", "added_mL"),
        ("added_ml", "added_mL"),
        ("\ufeffadded_mL", "added_mL"),
        ("addedmL", "added_mL"),
        ("Added, cm³", "added_mL"),
        ("volume added (mL)", "added_mL"),
        ("Mass of liquid 1 (g)", "in_cup_g"),
        ("in cup in °C", "in_cup_C"),
        ("In cup (℃)", "in_cup_C"),
        ("IN_CUP_C", "in_cup_C"),
        ("T in cup", "in_cup_C"),
        ("in cup mol/L", "in_cup_mol_per_L"),
        ("In cup [mol L⁻¹]", "in_cup_mol_per_L"),
        ("In cup (mol·dm⁻³)", "in_cup_mol_per_L"),
        ("in_cup_M", "in_cup_mol_per_L"),
        ("Highest reading (°C)", "extreme_C"),
        ("Room temperature", "room_C"),
        ("heater / V", "heater_V"),
        ("Heater (A)", "heater_A"),
        ("Group", "run"),
        ("Cup no.", "apparatus"),
        ("Reported / kJ mol⁻¹", "reported_kJ_per_mol"),
        ("u(in_cup_g)", "u_in_cup_g"),
        ("u in cup / g", "u_in_cup_g"),
        ("uncertainty of in_cup_C", "u_in_cup_C"),
        ("± added_C", "u_added_C"),
    ],
)
def test_tolerant_spellings(text, name):
    assert read_heading(text).name == name


@pytest.mark.parametrize(
    ("text", "name", "factor", "offset"),
    [
        ("in cup / cL", "in_cup_mL", 10.0, 0.0),
        ("added_kg", "added_g", 1000.0, 0.0),
        ("Added (L)", "added_mL", 1000.0, 0.0),
        ("room_F", "room_C", 5 / 9, -160 / 9),
        ("extreme [K]", "extreme_C", 1.0, -273.15),
        ("Extreme after (min)", "extreme_after_s", 60.0, 0.0),
        ("heater_mA", "heater_A", 1e-3, 0.0),
        ("reported / kcal mol-1", "reported_kJ_per_mol", 4.184, 0.0),
        ("reported (J/mol)", "reported_kJ_per_mol", 1e-3, 0.0),
        ("added (mmol/L)", "added_mol_per_L", 1e-3, 0.0),
    ],
)
def test_other_units_are_converted_and_said(text, name, factor, offset):
    heading = read_heading(text)
    assert heading.name == name
    assert heading.unit.factor == pytest.approx(factor)
    assert heading.unit.offset == pytest.approx(offset)
    assert f"converted from {heading.unit.symbol}" in heading.note


@pytest.mark.parametrize(
    "text",
    [
        "note",
        "",
        "   ",
        "added %",
        "added (m)",  # a lower-case m is molal, or metres: not for us to guess
        "added_mL (L)",
        "cup (g)",  # the cup's own mass, perhaps
        "heater",
        "mass",
        "C",
        "x" * 5000,
    ],
)
def test_what_is_not_clear_is_carried_through(text):
    assert not read_heading(text).known


def test_a_near_miss_is_named():
    note = read_heading("aded_mL").note
    assert note.endswith("carried through untouched; if added_mL is meant, write it so")


def test_an_assumed_unit_is_said():
    assert read_heading("Room temperature").note == (
        "heading 'Room temperature' read as room_C, its unit assumed: °C"
    )


def test_two_units_in_one_heading_are_said():
    assert "names two units" in read_heading("added_mL (L)").note
