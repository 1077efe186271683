"""``cupledger cooldown``: a log of nothing but cooling, good and bad."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fitting.curve import Curve
from fitting.files.plain_curves import write_curve

SAMPLE = Path(__file__).resolve().parents[2] / "sample_runs" / "curves" / "cooling_P1.csv"
KEYS = {
    "cooling_rate_per_s", "u_cooling_rate_per_s", "interval95_per_s", "settles_C", "u_settles_C",
    "heat_loss_W_per_K", "u_heat_loss_W_per_K", "law", "laws", "decided_by", "warnings", "made_of",
}  # fmt: skip


def newton(t, start_C=45.0, settles_C=21.5, k=1.2e-4):
    return settles_C + (start_C - settles_C) * np.exp(-k * t)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Closed form: 0.048 W/K on 400 J/K, settling at 21.5 °C; noise of 5 mK."""
    t = np.arange(0.0, 5400.0, 10.0)
    T = newton(t) + np.random.default_rng(4).normal(0.0, 0.005, t.size)
    path = tmp_path_factory.mktemp("log") / "cup.csv"
    write_curve(path, Curve.from_arrays(t, T))
    return path


def test_a_log_with_a_known_answer(cupledger, path):
    done = cupledger(
        "cooldown", path, "--room", "21", "--heat-capacity", 400, "--u-heat-capacity", 4, "--json"
    )
    assert done.code == 0
    facts = done.json
    assert facts.keys() >= KEYS
    assert facts["law"] == "newton"
    low, high = facts["interval95_per_s"]
    assert low < 1.2e-4 < high
    assert facts["settles_C"] == pytest.approx(21.5, abs=2.5 * facts["u_settles_C"])
    low, high = facts["interval95_W_per_K"]
    assert low < 0.048 < high
    assert high - low < 0.02
    total = math.hypot(*(part["u_per_s"] for part in facts["made_of"]))
    assert total == pytest.approx(facts["u_cooling_rate_per_s"], rel=1e-6)
    total = math.hypot(*(part["u_W_per_K"] for part in facts["heat_loss_made_of"]))
    assert total == pytest.approx(facts["u_heat_loss_W_per_K"], rel=1e-6)
    names = [one["name"] for one in facts["laws"]]
    assert names == ["newton", "slow-wall", "steeper", "drifting-room"]
    assert all(one["why"] and one["equation"] for one in facts["laws"])
    assert next(one for one in facts["laws"] if one["name"] == "newton")["admissible"]


def test_tables_and_sentences_for_people(cupledger, path):
    done = cupledger("cooldown", path)
    assert done.code == 0
    for words in ("cooling rate k", "95 %:", "tends to T∞", "± is one standard uncertainty",
                  "Cooling laws", "newton *", "Why this law: ", "averaged over all mixtures"):  # fmt: skip
        assert words in done.out
    assert "heat loss G" not in done.out
    assert "the room's temperature was not noted" in done.err


def test_a_forced_law_is_used_alone(cupledger, path):
    free = cupledger("cooldown", path, "--json").json
    facts = cupledger("cooldown", path, "--law", "newton", "--json").json
    (own,) = (one for one in facts["laws"] if one["name"] == "newton")
    assert facts["law_forced"]
    assert facts["cooling_rate_per_s"] == own["cooling_rate_per_s"]
    assert facts["u_cooling_rate_per_s"] < free["u_cooling_rate_per_s"]
    assert "asked for" in facts["decided_by"]
    refused = cupledger("cooldown", path, "--law", "boyle")
    assert refused.code == 2
    assert "no cooling law 'boyle'; expected one of newton, slow-wall" in refused.err


def test_a_forced_law_that_misses_the_readings_is_told(cupledger, tmp_path):
    """Closed form: dθ/dt ∝ −θ^1.4 (Newton's law leaves far more than the noise)."""
    t = np.arange(0.0, 5400.0, 10.0)
    T = 20.0 + (50.0**-0.4 + 0.4 * 6e-5 * t) ** -2.5
    write_curve(tmp_path / "hot.csv", Curve.from_arrays(t, np.round(T, 2)))
    done = cupledger("cooldown", tmp_path / "hot.csv", "--room", 20, "--law", "newton")
    assert done.code == 0
    assert "newton was asked for, but its AICc is" in done.err
    free = cupledger("cooldown", tmp_path / "hot.csv", "--room", 20, "--json").json
    assert free["law"] == "steeper"
    assert free["chances"]["steeper"] > 0.9
    at = 60 * 6e-5 / 60 * (free["at_C"] - 20.0) ** 0.4  # −(dT/dt)/θ there
    low, high = free["interval95_per_s"]
    assert low < at < high


def test_part_of_a_log(cupledger, path):
    facts = cupledger("cooldown", path, "--start", 600, "--end", 4000, "--json").json
    assert 600 <= facts["from_s"] < facts["to_s"] <= 4000
    assert facts["points"] < 400


@pytest.fixture
def registered(cups, monkeypatch):
    """P1 with a constant of 12.5 ± 0.4 J/K and a loss of 0.0345 ± 0.0010 W/K, 0.01 J/K per mL."""
    from calib.registry import open_registry

    stored = SimpleNamespace(
        id=3, apparatus="P1", constant_J_per_K=12.5, u_constant_J_per_K=0.4,
        heat_loss_W_per_K=0.0345, u_heat_loss_W_per_K=0.001, fill_slope_J_per_K_per_mL=0.01,
        fill_reference_mL=200.0,
    )  # fmt: skip
    with open_registry(None) as store:
        monkeypatch.setattr(type(store), "constant_for", lambda self, cup, day=None: stored)
        yield cups


def test_a_registered_cup_gives_the_heat_loss(registered):
    """The sample log; the invented cup loses 0.0344 W/K (sample_runs/invented_truth.csv)."""
    facts = registered(
        "cooldown", SAMPLE, "--room-C", 21, "--apparatus", "P1", "--fill", 210, "--json"
    ).json
    # 210.0 g of water at 44 °C: 4.180 J/(g K) (IAPWS-95 by the library chemicals)
    assert facts["heat_capacity_J_per_K"] == pytest.approx(210.0 * 4.180 + 12.5 + 0.1, abs=0.3)
    assert facts["u_heat_capacity_J_per_K"] == pytest.approx(math.hypot(0.5 * 4.18, 0.4), abs=0.01)
    low, high = facts["interval95_W_per_K"]
    assert low < 0.0344 < high
    assert "they agree" in facts["registered"]["agreement"]
    text = registered("cooldown", SAMPLE, "--apparatus", "P1", "--fill", 210).out
    assert "heat loss G" in text
    assert "Registry: the registered heat loss is 0.0345 ± 0.0010 W/K" in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--apparatus", "P1"], "needs --fill"),
        (["--fill", "200"], "needs --apparatus"),
        (["--apparatus", "P1", "--fill", "200", "--heat-capacity", "400"], "exclude each other"),
        (["--u-heat-capacity", "4"], "without its value"),
        (["--heat-capacity", "-4"], "expected 0.1 to a million: that of content"),
        (["--heat-capacity", "nan"], "expected 0.1 to a million: that of content"),
        (["--apparatus", "P1", "--fill", "-3"], "the fill is -3 g"),
        (["--apparatus", "P9", "--fill", "200"], "P9"),
        (["--apparatus", "P1", "--fill", "200"], "P1"),  # no constant in force
        (["--room", "900"], "room temperature is 900 °C; expected -20 to 60 °C"),
        (["--room", "294"], "it looks like kelvin, give 20.85 °C"),
        (["--u-room", "0"], "expected more than 0"),
        (["--room", "60"], "past the room's 60.0 °C"),
        (["--time-unit", "h"], "check the unit of its time"),
        (["--start", "5000", "--end", "100"], "give from < to"),
        (["--start", "99999"], "holds nothing"),
        (["--start", "5200"], "changes by"),
        (["--unit", "R"], "R"),
        (["--temperature-column", "pH"], "pH"),
    ],
)
def test_options_that_cannot_be_meant(cups, path, words, says):
    done = cups("cooldown", path, *words)
    assert done.code == 2
    assert says in done.err
    assert "\nerror: " in "\n" + done.err


def rows(t, T) -> bytes:
    lines = "".join(f"{a:.0f},{b:.3f}\n" for a, b in zip(t, T, strict=True))
    return ("time_s,temperature_C\n" + lines).encode()


LONG = np.arange(0.0, 5400.0, 10.0)
JUMP = newton(LONG) - 6.0 * (LONG > 2700.0)
TURNS = np.where(LONG < 2700.0, newton(LONG), newton(5400.0 - LONG))


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.csv", b"", "empty"),
        ("binary.csv", bytes(range(256)) * 8, "text"),
        ("three.csv", rows([0, 60, 120], [45.0, 44.0, 43.0]), "3 readings"),
        ("short.csv", rows(LONG[:8], newton(LONG[:8] * 10)), "log for longer"),
        ("flat.csv", rows(LONG, np.full(LONG.size, 21.5)), "changes by"),
        ("turns.csv", rows(LONG, TURNS), "turns back"),
        ("jump.csv", rows(LONG, JUMP), "jumps by"),
        ("quick.csv", rows(LONG, newton(LONG, k=0.02)), "settles within some"),
        ("words.csv", b"time,temperature\nearly,warm\nlate,cold\n", "expected"),
    ],
    ids=lambda value: value if isinstance(value, str) and value.endswith(".csv") else "",
)
def test_useless_logs_are_refused_with_the_reason(cupledger, tmp_path, name, content, says):
    (tmp_path / name).write_bytes(content)
    done = cupledger("cooldown", tmp_path / name, "--page", tmp_path / "p.html")
    assert done.code == 2
    assert says in done.err
    assert not (tmp_path / "p.html").exists()
    assert "errors" in cupledger("cooldown", tmp_path / name, "--json").json


def test_a_gap_is_no_jump(cupledger, tmp_path):
    t = np.concatenate([LONG[:200], LONG[400:]])
    T = newton(t) + np.random.default_rng(7).normal(0, 0.005, t.size)
    (tmp_path / "gap.csv").write_bytes(rows(t, T))
    facts = cupledger("cooldown", tmp_path / "gap.csv", "--room", 21.5, "--json").json
    low, high = facts["interval95_per_s"]
    assert low < 1.2e-4 < high


def test_a_warming_log_is_as_good(cupledger, tmp_path):
    """A rising temperature is a cold cup that warms: the same law."""
    T = newton(LONG, start_C=5.0) + np.random.default_rng(6).normal(0, 0.005, LONG.size)
    (tmp_path / "cold.csv").write_bytes(rows(LONG, T))
    facts = cupledger("cooldown", tmp_path / "cold.csv", "--room", 21.5, "--json").json
    low, high = facts["interval95_per_s"]
    assert low < 1.2e-4 < high


def test_the_page_is_written_or_nothing_is(cupledger, path, tmp_path):
    page = tmp_path / "log.html"
    done = cupledger("cooldown", path, "--page", page, "--heat-capacity", 400)
    assert done.code == 0
    html = page.read_text(encoding="utf-8")
    assert "Heat loss G = " in html
    assert "Which law" not in html
    lost = cupledger("cooldown", path, "--page", tmp_path / "no" / "log.html")
    assert lost.code == 2
    assert "does not exist" in lost.err


def test_a_missing_file_is_named(cupledger, tmp_path):
    done = cupledger("cooldown", tmp_path / "nowhere.csv")
    assert done.code == 2
    assert "nowhere.csv" in done.err
