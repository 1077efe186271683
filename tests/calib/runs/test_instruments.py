"""What a reading is worth, and how ``readings.toml`` changes it."""

from __future__ import annotations

import math

import pytest

from calib.errors import TableError
from calib.runs import Instruments, Run, read_table, u_of_difference
from calib.runs.columns import COLUMNS, NUMBERS
from calib.runs.instruments import describe

RUN = Run(run="G1", apparatus="H1", in_cup="HCl(aq)", added="KOH(aq)")
OTHER = Run(run="G2", apparatus="H2", in_cup="HCl(aq)", added="KOH(aq)")
DEFAULT = Instruments.default()


@pytest.fixture
def load(tmp_path):
    def make(text):
        (tmp_path / "readings.toml").write_text(text, encoding="utf-8")
        return Instruments.load(tmp_path / "table.csv")

    return make


@pytest.mark.parametrize("column", NUMBERS)
def test_every_number_column_has_a_positive_uncertainty_with_a_source(column):
    middle = 5.0
    reading = DEFAULT.u(column, middle, RUN)
    assert reading.u > 0.0
    assert reading.unit == COLUMNS[column].unit
    assert reading.u == pytest.approx(math.sqrt(sum(part.u**2 for part in reading.parts)))
    assert all(part.source for part in reading.parts)
    assert reading.estimate.value == middle


def test_text_columns_have_none():
    with pytest.raises(KeyError):
        DEFAULT.u("apparatus", 1.0, RUN)


class TestOneThermometer:
    def test_its_offset_cancels_in_a_rise(self):
        before, after = DEFAULT.u("in_cup_C", 21.3, RUN), DEFAULT.u("extreme_C", 27.9, RUN)
        steps = 0.1 / math.sqrt(12) * math.sqrt(2)
        slope = 6.6 * (2 * 0.1 / 70.0) / math.sqrt(3)
        assert u_of_difference(after, before) == pytest.approx(math.hypot(steps, slope))
        assert u_of_difference(after, before) < math.hypot(before.u, after.u)

    def test_two_thermometers_share_nothing(self, load):
        instruments = load('[columns.added_C]\nname = "hot water thermometer"\n')
        one, two = instruments.u("in_cup_C", 21.3, RUN), instruments.u("added_C", 21.3, RUN)
        assert u_of_difference(one, two) == pytest.approx(math.hypot(one.u, two.u))

    def test_other_cups_have_their_own(self):
        one, two = DEFAULT.u("in_cup_C", 21.3, RUN), DEFAULT.u("in_cup_C", 21.3, OTHER)
        assert u_of_difference(one, two) == pytest.approx(math.hypot(one.u, two.u))

    def test_unless_one_serves_them_all(self, load):
        instruments = load('[temperature]\nshared = "table"\n')
        one, two = instruments.u("in_cup_C", 21.3, RUN), instruments.u("in_cup_C", 21.3, OTHER)
        assert u_of_difference(one, two) == pytest.approx(0.1 / math.sqrt(6))

    def test_a_logged_curve_shares_offset_and_slope_but_no_step(self):
        keys = {part.key for part in DEFAULT.u("in_cup_C", 21.3, RUN).shared}
        assert {part.key for part in DEFAULT.u("curve", 25.0, RUN).parts} == keys


def test_stock_solutions_are_shared_by_substance_and_concentration():
    one = DEFAULT.u("added_mol_per_L", 2.0, RUN)
    assert one.u == pytest.approx(0.01)
    assert [p.key for p in one.parts] == ["stock:KOH(aq) 2 mol/L"]
    assert [p.key for p in DEFAULT.u("added_mol_per_L", 2.0, OTHER).parts] == [one.parts[0].key]
    assert DEFAULT.u("added_mol_per_L", 1.0, RUN).parts[0].key != one.parts[0].key


def test_a_u_column_goes_before_everything(load):
    run = Run(run="G1", in_cup_g=50.0, u={"in_cup_g": 0.5})
    reading = load("[mass]\nu = 0.1\n").u("in_cup_g", 50.0, run)
    assert reading.u == 0.5
    assert reading.source == "in_cup_g as given 0.5 g"


def test_volumes_by_cylinder_pipet_and_buret(load):
    cylinder = DEFAULT.u("added_mL", 50.0, RUN)
    # class B, 50 mL: ±0.50 mL (ASTM E1272 Table 1), read to within ± half of 1 mL
    assert cylinder.u == pytest.approx(math.hypot(0.5 / math.sqrt(3), 1 / math.sqrt(12)))
    pipet = load('[volume]\ninstrument = "pipet"\nclass = "A"\ncapacity_mL = 25\n')
    # two fillings of one pipet err the same way twice: 2 · 0.03/√3
    assert pipet.u("added_mL", 50.0, RUN).u == pytest.approx(2 * 0.03 / math.sqrt(3))
    buret = load('[volume]\ninstrument = "buret"\nclass = "B"\n').u("added_mL", 30.0, RUN)
    assert buret.u == pytest.approx(math.hypot(0.10 / math.sqrt(3), 0.02 / math.sqrt(6)))


def test_balance_reads_tare_and_load():
    reading = DEFAULT.u("added_g", 5.0, RUN)
    # linearity ±0.02 g (common practice), display step 0.01 g twice
    assert reading.u == pytest.approx(math.hypot(0.02 / math.sqrt(3), 0.01 / math.sqrt(6)))


def test_steps_come_from_the_table(tmp_path):
    rows = "".join(f"G{n},5{n}.1{n},50.0,2{n}.5,3{n}.25\n" for n in range(4))
    (tmp_path / "t.csv").write_text("run,in_cup_g,added_g,in_cup_C,extreme_C\n" + rows, "utf-8")
    instruments = Instruments.load(read_table(tmp_path / "t.csv"))
    own = instruments.u("extreme_C", 30.25, RUN).u_own
    assert own == pytest.approx(0.01 / math.sqrt(12))
    assert instruments.u("in_cup_C", 20.5, RUN).u_own == pytest.approx(0.1 / math.sqrt(12))


def test_coarse_scales_are_taken_for_liquid_in_glass(load):
    reading = load("[temperature]\nstep = 0.5\n").u("in_cup_C", 20.0, RUN)
    assert "glass thermometer offset" in reading.source
    assert reading.u == pytest.approx(math.hypot(0.5 / math.sqrt(3), 0.5 / math.sqrt(12)))


def test_a_certificate_replaces_the_published_limit(load):
    instruments = load("[temperature]\nu = 0.02\nslope_percent = 0.1\nstep = 0.01\n")
    reading = instruments.u("extreme_C", 30.0, RUN)
    parts = (0.02, 10 * 0.001 / math.sqrt(3), 0.01 / math.sqrt(12))
    assert reading.u == pytest.approx(math.hypot(*parts))


def test_a_column_of_its_own_does_not_inherit_another_instruments_limits(load):
    text = '[volume]\ninstrument = "cylinder"\nhalfwidth = 2\n'
    text += '[columns.added_mL]\ninstrument = "pipet"\n'
    instruments = load(text)
    assert instruments.u("in_cup_mL", 50.0, RUN).u == pytest.approx(2 / math.sqrt(3))
    assert instruments.u("added_mL", 50.0, RUN).u == pytest.approx(0.10 / math.sqrt(3))


def test_the_temperature_that_was_not_read(load):
    assert DEFAULT.u_assumed_equal_K == pytest.approx(0.3 / math.sqrt(3))
    assert load("assumed_equal_halfwidth_K = 0.1\n").u_assumed_equal_K == pytest.approx(
        0.1 / math.sqrt(3)
    )


def test_the_last_digit_of_a_groups_answer():
    run = Run(run="G1", reported_kJ_per_mol=-55.8, written={"reported_kJ_per_mol": "-55.80"})
    assert DEFAULT.u("reported_kJ_per_mol", -55.8, run).u == pytest.approx(0.01 / math.sqrt(12))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[temprature]\n", "'temprature' in the file is not known; nearest: 'temperature'; known"),
        ("[volume]\nclas = 'A'\n", "'clas' in volume is not known; nearest: 'class'; known here"),
        ("[columns.added_ml]\n", "'added_ml' in columns is not known; nearest: 'added_mL'"),
        ("[volume]\ninstrument = 'pipette'\n", "volume.instrument = 'pipette': nearest: 'pipet'"),
        ("[volume]\ninstrument = 'pipet'\nclass = 'C'\n", "pipet 'C': its classes are A, B"),
        ("[temperature]\ninstrument = 'thermistor'\nclass = 'A'\n", "it has no classes"),
        ("[mass]\nstep = '0.01'\n", "mass.step = '0.01': expected a number from 0 to a million"),
        ("[mass]\nstep = nan\n", "mass.step = nan: expected a number"),
        ("[mass]\nstep = -1\n", "mass.step = -1: expected a number"),
        ("[mass]\nstep = true\n", "mass.step = True: expected a number"),
        ("[volume]\ncapacity_mL = 0\n", "expected a number from 0.001 to a million"),
        ("volume = 3\n", "volume is a section: write it as [volume], not volume = 3"),
        ("date_order = 'us'\n", "one of 'day first', 'month first'"),
        ("[temperature]\nshared = 'class'\n", "one of 'table', 'apparatus', 'run'"),
        ("= 3\n", "cannot be read as TOML"),
        ("[a" * 2000, "cannot be read as TOML"),
    ],
)
def test_what_readings_toml_must_not_say(load, tmp_path, text, message):
    with pytest.raises(TableError) as caught:
        load(text)
    assert str(caught.value).startswith(f"{tmp_path / 'readings.toml'}: ")
    assert message in str(caught.value)


def test_readings_toml_settles_the_order_of_dates(tmp_path):
    text = "run,date,in_cup_g,added_g,in_cup_C,extreme_C\nA,3/4/2026,50,50,20,30\n"
    (tmp_path / "t.csv").write_text(text, "utf-8")
    assert len(read_table(tmp_path / "t.csv").problems) == 1
    (tmp_path / "readings.toml").write_text('date_order = "day first"\n', "utf-8")
    assert read_table(tmp_path / "t.csv").rows[0].date.isoformat() == "2026-04-03"


def test_the_list_of_tolerances_names_a_source_for_each():
    lines = describe()
    assert len(lines) > 50
    for line in lines:
        assert line.u > 0.0
        assert line.source
        assert line.origin in ("found", "memory", "practice")
        assert ("common practice" in line.source or "assumed" in line.source) == (
            line.origin == "practice"
        )
