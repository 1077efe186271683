"""What is known of a run: refused where no run can have it, and lost nowhere on the way."""

from __future__ import annotations

import inspect
import math
import re
from dataclasses import fields

import pytest

from fitting import compare, correct
from fitting.corrections.choice import correct_known
from fitting.cup.circumstances import (
    LID_KINDS,
    NOTHING_KNOWN,
    U_RATE_SHARE,
    VESSEL_KINDS,
    Circumstances,
)
from fitting.cup.knowledge import LIDS, VESSELS
from fitting.errors import CurveError
from fitting.newton.heated import heated_rise
from tests.benchmarks.coverage import logged, simulated
from tests.fitting.test_heated import heated_curve


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (
            {"room_C": 300.0},
            "the room temperature is 300 °C; expected -20 to 60 °C: it looks like kelvin, give "
            "26.85 °C",
        ),
        (
            {"room_C": 70.5},
            "the room temperature is 70.5 °C; expected -20 to 60 °C: give it in °C, as read near "
            "the cup",
        ),
        ({"room_C": math.nan}, "the room temperature is nan °C; expected -20 to 60 °C"),
        (
            {"room_C": 21.0, "u_room_K": -0.1},
            "the standard uncertainty of the room temperature is -0.1 K; expected 0 K or more",
        ),
        (
            {"capacity_ratio": 400.0},
            "the ratio of heat capacities is 400; expected 0.02 to 1.5: that of cup and "
            "content before mixing over that after it (1 where a solid was added, 0.5 where as "
            "much liquid again was)",
        ),
        ({"capacity_ratio": 0.0}, "the ratio of heat capacities is 0; expected 0.02"),
        ({"capacity_ratio": math.nan}, "the ratio of heat capacities is nan; expected"),
        (
            {"u_mixed_at_s": 2.0},
            "the moment of mixing has an uncertainty of 2 s but no value; give both, or neither: "
            "it is then found from the curve",
        ),
        (
            {"mixed_at_s": 10.0, "u_mixed_at_s": math.inf},
            "the standard uncertainty of the moment of mixing is inf s; expected 0 s or more",
        ),
        ({"mixed_at_s": math.nan}, "the moment of mixing is nan s; expected seconds on the curve"),
        ({"rate_per_s": -1e-4}, "the cooling rate is -0.0001 1/s; expected a number of 1/s, 0 or"),
        ({"u_rate_per_s": 1e-5}, "an uncertainty of the cooling rate without its value; give both"),
        (
            {"rate_per_s": 1e-4, "u_rate_per_s": -1e-5},
            "the standard uncertainty of the cooling rate is -1e-05 1/s; expected 0 1/s or more",
        ),
        ({"vessel": "pot"}, "there is no vessel 'pot'; expected one of cup, flask"),
        ({"lid": "ajar"}, "there is no lid 'ajar'; expected one of closed, hole, open"),
    ],
)
def test_what_no_run_has_is_refused(wrong, says):
    with pytest.raises(CurveError) as refused:
        Circumstances(**wrong)
    assert str(refused.value).startswith(says)


def test_the_edges_are_legal():
    for room in (-20.0, 60.0):
        assert Circumstances(room_C=room).room_C == room
    assert Circumstances(capacity_ratio=1.5).capacity_ratio == 1.5
    for vessel in (*VESSEL_KINDS, None):
        for lid in (*LID_KINDS, None):
            assert Circumstances(vessel=vessel, lid=lid).lid == lid


def test_a_rate_without_its_uncertainty_is_known_to_a_share():
    assert NOTHING_KNOWN.expected_rate is None
    assert Circumstances(rate_per_s=2e-4).expected_rate == (2e-4, U_RATE_SHARE * 2e-4)
    told = Circumstances(rate_per_s=2e-4, u_rate_per_s=1e-5, vessel="flask", lid="hole")
    assert told.expected_rate == (2e-4, 1e-5)
    assert told.without_rate() == Circumstances(vessel="flask", lid="hole")


def test_every_vessel_and_lid_has_its_knowledge():
    assert set(VESSEL_KINDS) == set(VESSELS)
    assert set(LID_KINDS) == set(LIDS)


@pytest.mark.parametrize("function", [correct, compare])
def test_notebooks_can_tell_everything_that_the_record_holds(function):
    """One keyword a field, with the same default."""
    keywords = inspect.signature(function).parameters
    for one in fields(Circumstances):
        name = one.name.replace("rate_per_s", "prior_rate_per_s")
        assert keywords[name].default == one.default, name


def test_keywords_and_record_give_the_same_and_the_result_keeps_it():
    run = simulated("slow", 70_001)
    curve = logged(run, "own", 0.01)
    known = Circumstances(
        mixed_at_s=run.mixed_at_s, u_mixed_at_s=1.5, capacity_ratio=run.capacity_ratio,
        room_C=21.3, u_room_K=0.4, rate_per_s=1e-4, u_rate_per_s=2e-5, vessel="cup", lid="hole",
    )  # fmt: skip
    by_keywords = correct(
        curve, mixed_at_s=run.mixed_at_s, u_mixed_at_s=1.5, capacity_ratio=run.capacity_ratio,
        room_C=21.3, u_room_K=0.4, prior_rate_per_s=1e-4, u_prior_rate_per_s=2e-5, vessel="cup",
        lid="hole",
    )  # fmt: skip
    assert by_keywords.known == known
    assert correct_known(curve, known).chosen.rise_K == by_keywords.chosen.rise_K


def test_a_heated_flask_is_taken_for_one():
    """A flask loses little, which narrows what a short log leaves open; untold, it is a cup."""
    curve, *_ = heated_curve(after=120.0, G=0.015)
    told, untold = (
        heated_rise(curve, 400.0, Circumstances(mixed_at_s=180.0, vessel=vessel))
        for vessel in ("flask", None)
    )
    assert told.u_cooling_rate_per_s < untold.u_cooling_rate_per_s
    assert told.u_rise_K < untold.u_rise_K
    cup = heated_rise(curve, 400.0, Circumstances(mixed_at_s=180.0, vessel="cup"))
    assert cup.rise_K == untold.rise_K


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ({"hidden_share": 0.6}, "the wall's hidden share of a rise is 0.6; expected at most 0.3"),
        ({"hidden_share": 0.01, "u_hidden_share": -1.0}, "uncertainty of the hidden share is -1"),
        ({"hidden_share": math.nan}, "the wall's hidden share of a rise is nan"),
    ],
)
def test_a_hidden_share_that_no_cup_has_is_refused(known, words):
    with pytest.raises(CurveError, match=re.escape(words)):
        Circumstances(**known)
