"""The README's commands run as they stand there."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
README = (TOP / "README.md").read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", README, flags=re.M | re.S)


def console_lines() -> list[str]:
    return [line for block in blocks("console") for line in block.splitlines() if line.strip()]


def test_the_first_sh_block_has_two_lines_and_is_the_only_one():
    (block,) = blocks("sh")
    first, second = block.strip().splitlines()
    assert first.endswith("cupledger demo")
    assert "pytest" in second
    assert "```bash" not in README


def test_the_first_line_of_prose_is_one_paragraph():
    before = README.split("```sh")[0].strip().split("\n\n")
    assert len(before) == 2
    assert before[0] == "# cupledger"


def test_every_other_command_runs_in_order(tmp_path):
    shutil.copytree(TOP / "sample_runs", tmp_path / "sample_runs")
    lines = console_lines()
    assert len(lines) >= 8
    for line in lines:
        words = shlex.split(line)
        assert words[0] == "cupledger"
        done = subprocess.run(
            [sys.executable, "-m", "calib", *words[1:], *[]],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == 0, f"{line}\n{done.stdout}\n{done.stderr}"
        assert done.stdout.strip(), line
    for page in ("bench07.html", "class.html", "class.xlsx"):
        assert (tmp_path / page).stat().st_size > 1000


@pytest.mark.parametrize("name", ["DEVELOPERS.md", "CHANGELOG.md"])
def test_links_lead_somewhere(name):
    assert name in README
    assert (TOP / name).is_file()
