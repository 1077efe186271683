"""Logs of many readings a second: averaged honestly, read in little memory."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from fitting.checks.thinning import ENOUGH, sifted, step_of_means, thinned
from fitting.corrections import correct
from fitting.curve import Curve
from fitting.files import packed_lines, text_tables
from fitting.files.curve_files import read_curve
from fitting.files.packed_lines import PackedLines


def cup(time, rise_K=6.0, mixed_at_s=300.0):
    """Closed form: one body, Newton's law from 1.5e-4 1/s, a lag of 4 s."""
    s = np.clip(time - mixed_at_s, 0.0, None)
    k, lag = 1.5e-4, 4.0
    return 20.0 + rise_K / (1 - k * lag) * (np.exp(-k * s) - np.exp(-s / lag))


def log(rate_per_s, lasts_s, q, sigma, seed=1, memory_s=0.0):
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, lasts_s, 1 / rate_per_s)
    noise = rng.normal(0.0, sigma, time.size)
    if memory_s:
        from scipy.signal import lfilter

        rho = float(np.exp(-1 / (rate_per_s * memory_s)))
        noise = lfilter([np.sqrt(1 - rho**2)], [1.0, -rho], noise)
    y = cup(time) + noise
    return Curve(time, np.round(y / q) * q if q else y, q)


def test_usual_logs_are_left_as_they_are():
    for rate, lasts_s in ((1.0, 3900.0), (2.0, 1800.0), (0.1, 86_400.0), (1.0, 86_400.0)):
        curve = log(rate, lasts_s, 0.01, 0.01)
        assert thinned(curve) is curve


@pytest.mark.parametrize(("rate", "lasts_s", "every_s"), [
    (1000.0, 1200.0, 0.3), (10.0, 3600.0, 0.9), (1000.0, 60.0, 0.1), (50.0, 20_000.0, 1.0),
])  # fmt: skip
def test_means_keep_integral_and_sharpness(rate, lasts_s, every_s):
    curve = log(rate, lasts_s, 0.0, 0.01)
    means = thinned(curve)
    assert means.step_s == pytest.approx(every_s, rel=0.01)
    assert len(means) <= max(ENOUGH + 1, lasts_s + 1)
    assert thinned(means) is means
    assert "averaged to" in means.guesses[-1]
    assert means.temperature_C.mean() == pytest.approx(curve.temperature_C.mean(), abs=0.002)


def test_gaps_stay_gaps():
    curve = log(100.0, 600.0, 0.0, 0.01)
    holed = Curve(*(x[(curve.time_s < 400) | (curve.time_s > 460)] for x in
                    (curve.time_s, curve.temperature_C)))  # fmt: skip
    assert np.diff(thinned(holed).time_s).max() == pytest.approx(60.0, abs=0.4)


@pytest.mark.parametrize(("sigma", "low", "high"), [
    (0.0005, 0.85, 1.0), (0.02, 0.3, 0.9), (0.06, 0.0, 0.05),
])  # fmt: skip
def test_steps_of_means_are_finer_only_as_the_noise_dithers(sigma, low, high):
    """A display of 0.1 K: what is left, measured as the error of a long mean over many levels."""
    q = 0.1
    left = step_of_means(log(200.0, 3000.0, q, sigma))
    assert low * q <= left <= high * q
    rng = np.random.default_rng(4)
    levels = rng.uniform(20.0, 21.0, 400)
    means = [np.mean(np.round((x + rng.normal(0, sigma, 4000)) / q) * q) for x in levels]
    measured = float(np.sqrt(12 * np.mean((np.array(means) - levels) ** 2)))
    # No finer than it is, but for the noise that is assumed at least (0.03 q); coarser where the log
    # stood still mid-step and hid its noise.
    assert measured - 0.08 * q <= left <= measured + 0.25 * q


def test_the_rise_of_a_thousand_readings_a_second():
    """Noise with a memory of 0.5 s on 0.1 K steps, one 850: the rise holds, and all is said."""
    curve = log(1000.0, 1500.0, 0.1, 0.03, memory_s=0.5)
    y = curve.temperature_C.copy()
    y[700_000] = 850.0
    found = correct(Curve(curve.time_s, y, 0.1), mixed_at_s=300.0)
    assert found.chosen.holds(6.0)
    assert [one.temperature_C for one in found.left_out] == [850.0]
    assert found.chosen.u_rise_K < 0.06


def test_packed_lines_are_a_list_of_lines():
    for text in ("", "a", "a\n", "a\nbö\n\nc", "\n\n"):
        lines = PackedLines(text.encode())
        plain = text.split("\n")
        assert list(lines) == lines.to_list() == plain
        assert list(lines[1:]) == plain[1:]
        assert list(lines[1:][::2]) == plain[1:][::2]
        assert lines[5:2].to_list() == []
        assert lines[-1] == plain[-1]
        with pytest.raises(IndexError):
            lines[len(plain)]


@pytest.mark.parametrize(("text", "readings"), [
    ("time_s,T (°C)\n" + "".join(f"{i},{20 + i / 100:.2f}\n" for i in range(50)), 50),
    ("time_s;T (°C)\r\n" + "".join(f"{i};{20 + i / 100:.2f}\r\n".replace(".", ",") for i in range(50)), 50),
    ("time_s,T (°C)\n" + "".join(f"{i},{'' if i == 7 else 20 + i / 100}\n" for i in range(50)), 49),
    ("time_s,T (°C)\n" + "".join(f"{i},{850 if i == 7 else 20 + i / 100}\n" for i in range(50)), 49),
])  # fmt: skip
@pytest.mark.parametrize("codec", ["utf-8", "utf-16", "cp1252"])
def test_a_large_file_reads_as_a_small_one(tmp_path, monkeypatch, text, readings, codec):
    file = tmp_path / "c.csv"
    file.write_bytes(text.encode(codec))
    small = read_curve(file)
    monkeypatch.setattr("fitting.files.text_files.LARGE_BYTES", 10)
    monkeypatch.setattr(text_tables, "_PART_LINES", 7)
    monkeypatch.setattr(packed_lines, "_PART_BYTES", 16)
    large = read_curve(file)
    assert len(large) == len(small) == readings
    assert np.array_equal(large.temperature_C, small.temperature_C)
    assert (large.guesses, large.left_out, large.digest) == (
        small.guesses, small.left_out, small.digest,
    )  # fmt: skip


def test_memory_per_reading_stays_small(tmp_path):
    """300,000 readings of 14 bytes: less than 90 bytes each at the peak, by numpy and Python."""
    file = tmp_path / "khz.csv"
    count = 300_000
    file.write_text(
        "time_s,T (°C)\n"
        + "".join(f"{i / 1000:.3f},{20 + i % 7 / 10:.2f}\n" for i in range(count)),
        encoding="utf-8",
    )
    tracemalloc.start()
    try:
        curve = sifted(read_curve(file))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(curve) <= ENOUGH + 1
    assert peak < 90 * count + 30_000_000
