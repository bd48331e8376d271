"""``rimekeeper replay``: a file through the same pipeline, with and without a kitchen file."""

from __future__ import annotations

import csv
import io

from house.rows import climb
from support.daemon import command, write


def test_a_file_alone(tmp_path):
    file = write(tmp_path / "night.csv", "time_ms,probe,celsius\n" + climb("pan", 20.0, 0.1, 500))
    done = command("replay", file, "--data", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "500 readings stored" in done.stdout
    rows = list(csv.DictReader(io.StringIO(command("export", "--data", tmp_path / "out").stdout)))
    assert len(rows) == 500
    assert rows[0]["celsius"] == "20.0"
    again = command("replay", file, "--data", tmp_path / "out")
    assert "0 readings stored" in again.stdout
    assert "500 were there already" in again.stdout


def test_bad_rows_cost_themselves_only(tmp_path):
    text = "time,probe,fahrenheit\n2026-11-24T10:00:00Z,pan,212\nyesterday,pan,50\n2026-11-24T10:00:02Z,pan,warm\n"
    done = command("replay", write(tmp_path / "f.csv", text), "--data", tmp_path / "out")
    assert "1 readings stored" in done.stdout
    assert "2 rows could not be read" in done.stdout


def test_a_file_that_is_no_such_csv(tmp_path):
    done = command("replay", write(tmp_path / "f.csv", "a,b\n1,2\n"), "--data", tmp_path / "out")
    assert done.returncode == 3
    assert "line 1" in done.stderr
    assert "Traceback" not in done.stderr
