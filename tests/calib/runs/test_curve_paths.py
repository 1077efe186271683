"""The file a ``curve`` cell names must lie inside the table's folder."""

from __future__ import annotations

import os
import sys

import pytest

from calib.runs import read_table
from calib.runs.cells import CellError
from calib.runs.curve_paths import find_curve


@pytest.fixture
def folder(tmp_path):
    inside = tmp_path / "class"
    (inside / "curves").mkdir(parents=True)
    (inside / "curves" / "bench1.csv").write_text("0,20\n", encoding="utf-8")
    (inside / "own.csv").write_text("0,20\n", encoding="utf-8")
    (tmp_path / "secret.csv").write_text("0,20\n", encoding="utf-8")
    return inside


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("own.csv", "own.csv"),
        ("curves/bench1.csv", "curves/bench1.csv"),
        ("curves\\bench1.csv", "curves/bench1.csv"),
        ("./curves//bench1.csv", "curves/bench1.csv"),
        ("curves/../own.csv", "curves/../own.csv"),
    ],
)
def test_files_inside(folder, name, written):
    found, path, note = find_curve(name, folder)
    assert found == written
    assert path.is_file()
    assert note == ""


def test_another_case_is_taken_and_said(folder):
    _, path, note = find_curve("Curves/BENCH1.CSV", folder)
    assert path.is_file()
    if path.name == "bench1.csv":  # a file system that tells cases apart
        assert note == "curve 'Curves/BENCH1.CSV' not found; 'curves/bench1.csv' taken"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("../secret.csv", "leads out of the table's folder"),
        ("..\\secret.csv", "leads out of the table's folder"),
        ("curves/../../secret.csv", "leads out of the table's folder"),
        ("../class/own.csv", "leads out of the table's folder"),
        ("/etc/passwd", "is a full path, which could lead anywhere"),
        ("C:\\own.csv", "is a full path, which could lead anywhere"),
        ("c:own.csv", "is a full path, which could lead anywhere"),
        ("\\\\server\\share\\x.csv", "is a full path, which could lead anywhere"),
        ("//server/share/x.csv", "is a full path, which could lead anywhere"),
        ("https://example.org/x.csv", "is an address, and nothing is fetched"),
        ("file:own.csv", "is an address, and nothing is fetched"),
        ("FILE:///etc/passwd", "is an address, and nothing is fetched"),
        ("NUL", "is no name of a file"),
        ("curves/con.csv", "is no name of a file"),
        ("com1 .txt", "is no name of a file"),
        ("a\x00b", "is no name of a file"),
        (".", "is no name of a file"),
        ("curves", "is not a file"),
        ("none.csv", "is not there"),
        ("own.csv/x", "is not there"),
    ],
)
def test_what_is_refused(folder, name, message):
    with pytest.raises(CellError) as caught:
        find_curve(name, folder)
    assert caught.value.message == message
    assert caught.value.expected == "the name of a file in the table's folder"


@pytest.mark.parametrize("name", ["x" * 5000, "\ud800.csv", "~root/x", "*", "a" * 300 + "/b"])
def test_odd_names_raise_nothing_else(folder, name):
    with pytest.raises(CellError):
        find_curve(name, folder)


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege on Windows")
class TestLinks:
    def test_a_link_out_of_the_folder(self, folder):
        (folder / "link.csv").symlink_to(folder.parent / "secret.csv")
        with pytest.raises(CellError, match="leads out of the table's folder"):
            find_curve("link.csv", folder)

    def test_a_linked_folder(self, folder):
        (folder / "up").symlink_to(folder.parent, target_is_directory=True)
        with pytest.raises(CellError, match="leads out of the table's folder"):
            find_curve("up/secret.csv", folder)

    def test_a_link_to_itself(self, folder):
        (folder / "loop.csv").symlink_to("loop.csv")
        with pytest.raises(CellError):
            find_curve("loop.csv", folder)

    def test_a_link_that_stays_inside(self, folder):
        (folder / "inside.csv").symlink_to("own.csv")
        assert find_curve("inside.csv", folder)[1].is_file()

    def test_a_table_in_a_linked_folder(self, folder):
        (folder.parent / "alias").symlink_to(folder, target_is_directory=True)
        assert find_curve("own.csv", folder.parent / "alias")[1].is_file()

    def test_a_pipe_is_never_opened(self, folder):
        os.mkfifo(folder / "pipe.csv")
        with pytest.raises(CellError, match="is not a file"):
            find_curve("pipe.csv", folder)


def test_in_a_table_the_row_is_refused_with_its_cell(folder):
    table = folder / "table.csv"
    head = "run,in_cup_g,added_g,added_C,curve\n"
    rows = "A,50,50,45,own.csv\nB,50,50,45,../secret.csv\nC,50,50,45,\n"
    table.write_text(head + rows, encoding="utf-8")
    read = read_table(table)
    assert read.labels == ("A",)
    assert read.rows[0].curve == "own.csv"
    assert read.rows[0].curve_path == folder / "own.csv"
    assert [(p.row, p.column) for p in read.problems] == [("B", "curve"), ("C", "curve")]
    assert str(read.problems[0]) == (
        "row B, column curve: line 3, field 5 leads out of the table's folder; found "
        "'../secret.csv'; expected the name of a file in the table's folder; put the file beside "
        "the table and write its name alone"
    )
