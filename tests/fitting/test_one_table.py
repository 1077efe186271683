"""What is taken as known of cups stands once: in `fitting.cup`, and nowhere else."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from calib.cli.main import app
from calib.runs.kind_words import vessel_of_kind
from fitting.cup.free_standing import SIDE_M2, rate_of, wall_of_material
from fitting.cup.knowledge import (
    BENCH,
    LIDS,
    OPEN_SURFACE,
    SURROUNDINGS,
    VESSELS,
    all_facts,
    as_markdown,
)
from fitting.newton.walls import usual_hidden_share, wall_grid

ROOT = Path(__file__).resolve().parents[2]
JUDGES = ("simulated_cup.py", "truth.py")
"""Demo truth and the judge of the corrections keep numbers of their own, on purpose: a judge that
reads the priors' table judges nothing."""
FORECASTS = ("forecast", "catalogue")  # of `calib.reactions`: the others deal with no cup
PRIOR = re.compile(r"(?:^|_)(?:K|s|S|C|per_s|PER_S|J_per_K|J_PER_K|W_per_K|W_PER_K|SHARE|share)$")

MAY_STAY = {
    # limits of refusal and of what a method looks at: they choose readings, no prior reads them
    "ROOM_C", "_ROOMS_C", "MOST_RATE_PER_S", "_LIKELY_C", "_FAILED_C", "_FAILED_APART_K",
    "_MIN_AFTER_S", "_SURELY_ENOUGH_S", "_UNFINISHED_SHARE", "_SHORT_S", "_SETTLED_SHARE",
    "_SHORTEST_S", "_SHORTEST_BIN_S", "LEAST_AFTER_S", "WORTH_S", "_WORTH_S", "_BEFORE_S",
    "_LONGEST_S", "_LEAST_CHANGE_K", "LEAST_APART_K", "NEAR_K", "NEAR_ROOM_K", "BOILS_C",
    "TEMPERATURE_MARGIN_K", "FAST_LOSS_PER_S", "_LEAST_SHARE", "_MOST_SHARE", "LEAST_SHARE",
    "MOST_SHARE", "LESSER_SHARE", "WHOLE_SHARE", "_LARGEST_TIME_S", "UNSEEN_UP_TO_S",
    # thresholds of the checks, and of what is drawn or said
    "_QUIET_FROM_S", "_WINDOW_S", "_JUMP_SHARE", "_LEAST_JUMP_K", "_EARLY_S", "_LEFT_WITHIN_S",
    "_LEFT_SHARE", "_FEW_S", "_SHORT_SHARE", "_STOOD_S", "SHOWN_SHARE", "_FALLBACK_SHARE",
    "_LATE_SHARE", "_EARLY_SHARE", "_APART_S",
    "_SMALL_SHARE", "_EXCLUDED_S", "_SUDDEN_S", "CURVE_SLACK_K", "BEFORE_S", "QUICK_OVER_S",
    # search grids and the fit's own shapes
    "_LAG_S", "_STIRRING_S", "_POUR_S", "_SEEN_S", "_SLOW_S", "_SLOW_SHARE", "_HELD_SHARE",
    "_POUR_SHARE", "_MISFIT_SHARE", "_FIRST_WIDTH_S", "_SHAPES_S", "_DECAYS_S", "_BENDS_S",
    "_GRID_S", "_LAGS_S", "QUICK_S", "_ENDS_S", "_SECOND_S", "_SINGLE_S", "RELEASE_S", "TIMES_S",
    "_STEEPEST_K_PER_S", "_USUAL_RATE_PER_S", "_THIN_S",
    # clocks, files, stores, instruments, water and plans of stock
    "DAY_S", "_HALF_DAY_S", "_EPOCH_S", "TIMEOUT_S", "LONGEST_NAP_S", "SLOPE_ZERO_C", "SOLID_C",
    "STEPS_K", "MAKE_C", "HOT_C", "REFERENCE_C", "T_REFERENCE_K", "SCHOOL_C", "T_MIN_C", "T_MAX_C",
    "_PART_S", "_MANY_SHARE", "_FROM_S", "_EDGE_S", "_SHORT_RUN_S", "_BEYOND_K", "_BACK_SHARE",
    "_SOONEST_S", "_UNSETTLED_SHARE", "_OFF_SHARE", "_LATE_LOSS_PER_S", "_LATE_S",
    "_UNKNOWN_SHARE", "_LEAST_BEFORE_S", "_RESTLESS_SHARE", "_SECOND_SHARE", "_PUT_IN_S",
    "_LONGEST_GAP_S", "_MOST_RATE_PER_S", "FASTEST_PER_S", "SLOWEST_PER_S", "SLOWEST_WALL_S",
    "COLDEST_C", "HOTTEST_C", "_DAY_S", "_COARSE_STEP_S", "_STEP_K", "hot_limit_C", "over_share", "hot_C",
    "assumed_equal_halfwidth_K",
    # what a class's row is suspected for: a sentence, no number of a cup is made from it
    "ROOM_APART_K", "SOON_S", "U_SHARE", "FAR_SHARE", "USUAL_SHARE", "MOMENT_APART_S",
    "GROSS_SHARE", "ODD_K", "_LEAST_K", "LIQUID_C", "BRINE_C",
    # how large a mishap is said to be: names for scale, no finding about anybody
    "APART_K", "LATE_S",
    # a display's own u where the caller tells none
    "u_extreme_after_s", "u_before_K", "u_reading_K", "step_K",
    "SPARE_SHARE", "MOLECULE_SHARE", "U_UNMATCHED_SHARE", "U_POWER_SHARE", "PSYCHROMETRIC_PA_PER_K",
}  # fmt: skip


def modules() -> Iterator[Path]:
    for room in ("fitting", "calib"):
        for path in sorted((ROOT / room).rglob("*.py")):
            tables = {"cup", "substances", "reactions", "pages"} & set(path.parts)
            if path.name not in JUDGES and (not tables or path.stem in FORECASTS):
                yield path


def numbers_of(node: ast.AST | None) -> list[float]:
    return [
        float(one.value)
        for one in ast.walk(node or ast.Pass())
        if isinstance(one, ast.Constant) and type(one.value) in (int, float)
    ]


def is_read(node: ast.AST) -> bool:
    """Whether a value comes from another module: it names something that is no plain number."""
    return any(isinstance(one, ast.Attribute) for one in ast.walk(node))


def constants_of(tree: ast.Module) -> Iterator[tuple[str, ast.AST]]:
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        if isinstance(node, ast.AnnAssign) and node.value is not None:
            targets = [node.target]
        for target in targets:
            value = node.value
            assert value is not None
            if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
                yield from (
                    (name.id, one)
                    for name, one in zip(target.elts, value.elts, strict=True)
                    if isinstance(name, ast.Name)
                )
            elif isinstance(target, ast.Name):
                yield target.id, value


def priors_in(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [
        name
        for name, value in constants_of(tree)
        if PRIOR.search(name) and numbers_of(value) and not is_read(value)
    ]
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            found += [
                one.target.id
                for one in node.body
                if isinstance(one, ast.AnnAssign)
                and isinstance(one.target, ast.Name)
                and PRIOR.search(one.target.id)
                and any(number not in (0.0, 1.0) for number in numbers_of(one.value))
            ]
        if not isinstance(node, ast.FunctionDef):
            continue
        named = [*node.args.args, *node.args.kwonlyargs]
        values = [
            *[None] * (len(node.args.args) - len(node.args.defaults)),
            *node.args.defaults, *node.args.kw_defaults,
        ]  # fmt: skip
        found += [
            one.arg
            for one, value in zip(named, values, strict=True)
            if PRIOR.search(one.arg)
            and any(number not in (0.0, 1.0) for number in numbers_of(value))
        ]
    return [name for name in found if name not in MAY_STAY]


def test_no_other_module_holds_a_number_of_cups():
    found = {str(path.relative_to(ROOT)): priors_in(path) for path in modules()}
    assert {path: names for path, names in found.items() if names} == {}


def test_the_search_would_see_one(tmp_path):
    module = tmp_path / "planted.py"
    module.write_text(
        "USUAL_LAG_S = 7.0\ndef f(room_K=0.5, n=3):\n    return room_K\nREAD_S = A.b\n"
        "class C:\n    held_s: float = 3.0\n"
    )
    assert priors_in(module) == ["USUAL_LAG_S", "room_K", "held_s"]


@pytest.mark.parametrize("written", ["1.2e-4", "1.4e-4", "2430", "6e-5", "0.0012"])
def test_numbers_that_stood_more_than_once_stand_once(written):
    number = float(written)
    places = {
        path.name
        for path in (ROOT / "fitting").rglob("*.py")
        if path.name not in JUDGES
        and any(
            isinstance(one, ast.Constant) and one.value == number
            for one in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        )
    }
    assert len(places) <= 1


def test_the_vapour_pressure_stands_once():
    written = [
        str(path.relative_to(ROOT))
        for path in modules()
        if path.parent.name != "substances" and "17.625" in path.read_text(encoding="utf-8")
    ]
    assert written == ["fitting/newton/rows.py"]


def test_one_fact_has_one_number_where_two_had_been():
    """What modules differed in before there was one table."""
    from calib.calibration.one_run import CONSTANT_GUESS_J_PER_K
    from calib.jobs.reference_lines import LIST_CUP_J_PER_K
    from calib.run_model.prepared import ROOM_GUESS_C
    from fitting.cooling import stretch
    from fitting.cooling import weighed as mixtures

    assert CONSTANT_GUESS_J_PER_K == LIST_CUP_J_PER_K == BENCH.constant_J_per_K.value
    assert mixtures._FAR_C[0] == ROOM_GUESS_C == BENCH.usual_room_C.value
    assert mixtures.U_DRIFT_K_PER_S[0] == SURROUNDINGS.room_drift_K_per_s.u
    stirred = SURROUNDINGS.stirring_K_per_s.value / VESSELS["cup"].rate_per_s.value
    assert pytest.approx(stirred) == stretch.STIRRING_K


def test_every_fact_has_a_unit_a_spread_and_a_source():
    facts = list(all_facts())
    assert len({(of, fact.what) for of, fact in facts}) == len(facts)
    for _, fact in facts:
        assert all((fact.source, fact.what, fact.unit))
        assert (fact.u == 0.0) == (fact.shape == "exact")
    assert as_markdown().count("\n") == len(facts) + 1


def test_the_command_prints_the_whole_table():
    found = CliRunner().invoke(app, ["reference", "cups", "--json"])
    assert found.exit_code == 0, found.output
    lines = json.loads(found.stdout)["sections"][0]["lines"]
    assert [(line["number"], line["unit"]) for line in lines] == [
        (fact.value, fact.unit) for _, fact in all_facts()
    ]
    words = CliRunner().invoke(app, ["reference", "cups"]).stdout
    assert "taken as known before a curve is seen" in words


# --- vessels ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "vessel"),
    [
        ("paper cup", "paper"), ("paper cup, foam lid", "paper"), ("glass beaker", "beaker"),
        ("plastic beaker with foam lid", "beaker"), ("steel mug", "metal"),
        ("aluminium can", "metal"), ("copper calorimeter, lid", "metal"),
        ("insulated steel mug", "cup"), ("steel vacuum flask", "flask"),
        ("beaker in a foam jacket", None), ("paper cup in a foam cup", "cup"),
        ("double foam cup, foam lid", "cup"), ("two nested paper cups", "cup"), ("jar", None),
    ],
)  # fmt: skip
def test_a_kind_names_its_vessel(kind, vessel):
    assert vessel_of_kind(kind) == vessel


def test_a_bare_vessel_follows_from_its_material():
    """By hand: 1.5 mm of borosilicate, ρ c L = 2.23e6 · 0.83 · 1.5e-3 = 2776 J/(m² K) (handbook
    values, from memory); 107 cm² of it hold 29.7 J/K; 2776 (1/400 + 1.5e-3/2.2) = 8.8 s."""
    share, time_s = wall_of_material(2.23, 0.83, 1.1, 1.5)
    assert share == pytest.approx(2776 * SIDE_M2 / (650 + 2776 * SIDE_M2), rel=1e-3)
    assert time_s == pytest.approx(8.83, abs=0.01)
    assert rate_of(9.0) == pytest.approx((9 * 1.07e-2 + 0.04) / 650)


@pytest.mark.parametrize("name", list(VESSELS))
def test_every_vessel_is_a_whole_prior(name):
    vessel = VESSELS[name]
    assert sum(wall.weight for wall in vessel.walls) == pytest.approx(1.0)
    assert any(wall.seen for wall in vessel.walls)
    assert wall_grid(vessel).weight.sum() == pytest.approx(1.0, abs=1e-5)
    share, u = usual_hidden_share(vessel, vessel.rate_per_s.value)
    assert 0 < share < 0.02
    assert 0 < u < 0.02


def test_bare_vessels_lose_more_than_foam_and_a_flask_least():
    rate = {name: vessel.rate_per_s.value for name, vessel in VESSELS.items()}
    assert rate["flask"] < rate["cup"] < rate["metal"] < rate["paper"] < rate["beaker"]
    assert set(LIDS) == {"closed", "hole", "open"}


def test_what_vapour_takes_from_an_open_cup():
    """A pan of water at 20 °C in still air loses some 0.1 kg/(m² h) at 50 % (common practice)."""
    flow = OPEN_SURFACE.vapour_g_per_s_kPa_m2.value * 2.34 * 0.5 * 3600 / 1000
    assert flow == pytest.approx(0.1, rel=0.6)
