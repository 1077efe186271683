"""``calibrate`` as people type it: every way to a constant, from a table's file to the registry."""

from __future__ import annotations

import numpy as np
import pytest

HEAD = "run,apparatus,date,in_cup,in_cup_g,added,added_g,added_C,curve,room_C\n"


def cooling_log(path, k=5e-5):
    """Newton's law exactly, 24 K above a room of 21 °C, read to 0.01 K."""
    t = np.arange(0.0, 3600.0, 5.0)
    noise = np.random.default_rng(0).normal(0.0, 0.01, t.size)
    T = 21.0 + 24.0 * np.exp(-k * t) + noise
    lines = [f"{a:g},{b:.2f}" for a, b in zip(t, T, strict=True)]
    path.write_text("time_s,temperature_C\n" + "\n".join(lines) + "\n", encoding="utf-8")


def test_a_cooling_log_alone_tells_the_loss(cups, tmp_path):
    cooling_log(tmp_path / "cool.csv")
    table = tmp_path / "t.csv"
    table.write_text(HEAD + "c1,P1,2026-09-01,water,200,,,,cool.csv,21.0\n", encoding="utf-8")
    done = cups("calibrate", table, "--json")
    assert done.code == 0, done.err
    (constant,) = done.json["constants"]
    assert constant["constant_J_per_K"] is None
    assert constant["heat_loss_W_per_K"] == pytest.approx(5e-5 * 200 * 4.18, rel=0.05)
    assert constant["status"] == "not stored"
    assert "cooling log" in cups("calibrate", table).out


@pytest.mark.parametrize("added", ["water", ""])
def test_half_a_mixing_row_is_no_cooling_log(cups, tmp_path, added):
    """Something was said of what was added, so its amount is asked for."""
    cooling_log(tmp_path / "cool.csv")
    table = tmp_path / "t.csv"
    row = f"c1,P1,2026-09-01,water,200,{added},,50,cool.csv,21.0\n"
    table.write_text(HEAD + row, encoding="utf-8")
    done = cups("calibrate", table, "--json")
    assert done.code == 2
    assert done.json["errors"][0]["column"] in ("added_g", "added_mL")
