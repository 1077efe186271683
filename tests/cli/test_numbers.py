"""Every option that takes a number, of every command, against numbers that nobody can mean."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pytest

from tests.benchmarks.damage import NUMBERS
from tests.benchmarks.fuzz_readers import bench, numeric_options, sound_call
from tests.benchmarks.in_process import call

ABSURD = {
    ("calibrate", "--recheck-uses"): ("9223372036854775807",),
    ("constants recheck", "--within"): ("2147483648", "99999999999999999999999", "-1"),
    ("cooldown", "--u-room"): ("1e308", "1e9", "inf"),
    ("cooldown", "--heat-capacity"): ("1e-300", "nan"),
    ("correct", "--room"): ("1e9", "-273.15", "inf"),
    ("correct", "--capacity-ratio"): ("1e-9", "1e-3", "1e-300", "nan"),
    ("correct", "--sensor-lag"): ("1e9", "4.9e-324", "inf"),
    ("correct", "--heat-capacity"): ("inf", "1e308", "1e-300"),
    ("correct", "--u-heat-capacity"): ("4.9e-324", "1e308"),
    ("plan", "--u-constant"): ("nan", "5"),
    ("plan", "--u-enthalpy"): ("-1", "inf"),
    ("practice", "--seed"): ("-1", "9223372036854775807"),
}


@pytest.fixture
def place():
    folder = Path(tempfile.mkdtemp(dir=bench().folder))
    yield folder
    shutil.rmtree(folder)


@pytest.mark.parametrize("path", sorted(numeric_options()), ids=" ".join)
def test_no_number_breaks_a_command(path, place):
    """A sentence or a finite result: no net, no stack, no warning of numpy's, one JSON object."""
    for option in numeric_options()[path]:
        for number in (NUMBERS[i] for i in range(len(option) % 3, len(NUMBERS), 3)):
            registry = bench().fresh_registry(place)
            for file in place.iterdir():
                if file != registry:
                    file.unlink()
            done = call([*path, "--json", *sound_call(path, place), f"{option}={number}"], registry)
            assert not done.faults, (option, number, done.err.decode()[-600:], done.stack)


@pytest.mark.parametrize(
    ("command", "option", "number"),
    [(command, option, number) for (command, option), all_ in ABSURD.items() for number in all_],
)
def test_what_is_absurd_is_refused_with_what_was_expected(command, option, number, place):
    path = tuple(command.split())
    done = call([*path, *sound_call(path, place), f"{option}={number}"], bench().registry)
    err = done.err.decode()
    assert done.code == 2
    assert not done.faults
    assert any(word in err for word in ("expected", "Invalid value", "give both")), err


def test_all_commands_with_numbers_are_known():
    assert set(numeric_options()) >= {("correct",), ("cooldown",), ("plan",), ("calibrate",)}
    assert sum(map(len, numeric_options().values())) > 40


def test_the_smallest_number_is_an_uncertainty_too():
    from calib.rounding import decimals_for

    assert decimals_for(4.9e-324) > 300
    assert decimals_for(0.0997) == 2
    assert decimals_for(9.99999999) == 0
