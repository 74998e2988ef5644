"""A season of Parquet files asked by DuckDB with the query of docs/formats.md, against the same passes as CSV recomputed
with the standard library and numpy. Reference: duckdb."""

import csv
import re

import pytest
from conftest import FOLDER, library

SEASON = FOLDER / "season"


def documented_query():
    text = (FOLDER.parents[1] / "docs" / "formats.md").read_text()
    (query,) = re.findall(r"```sql\n(.*?)```", text, re.DOTALL)
    return query


def csv_rows():
    for path in sorted(SEASON.rglob("*.csv")):
        with path.open(newline="") as file:
            yield from ((path.stem, row) for row in csv.DictReader(file))


def connection(monkeypatch):
    duckdb = library("duckdb")
    assert len(list(SEASON.rglob("*.parquet"))) == 2
    monkeypatch.chdir(FOLDER)
    return duckdb.connect()


def test_documented_query(monkeypatch):
    numpy = library("numpy")
    found = connection(monkeypatch).execute(documented_query()).fetchall()
    corners = {row["corner"] for _, row in csv_rows()}
    assert len(found) == len(corners)
    for circuit, driver, corner, passes, best_s, usual_s, spread_mps in found:
        assert (circuit, driver) == ("Salt Pan", None)
        # Out laps and in laps have no number between the first timed lap and the last.
        timed = [row for _, row in csv_rows() if int(row["corner"]) == corner and 1 <= int(row["lap"]) <= 4]
        times_s = [float(row["time_s"]) for row in timed if row["time_s"]]
        speeds_mps = [float(row["exit_gate_speed_mps"]) for row in timed if row["exit_gate_speed_mps"]]
        assert passes == len(timed) == 8
        assert best_s == pytest.approx(min(times_s), abs=1e-3)
        assert usual_s == pytest.approx(numpy.median(times_s), abs=1e-3)
        assert spread_mps == pytest.approx(numpy.std(speeds_mps, ddof=1), abs=6e-3)


def test_every_cell_is_that_of_the_csv(monkeypatch):
    """All columns that both have, cell by cell: what is missing in one is missing in the other."""
    cursor = connection(monkeypatch).execute(
        "SELECT * FROM read_parquet('season/**/*.parquet', hive_partitioning = true) ORDER BY session, lap, corner"
    )
    names = [it[0] for it in cursor.description]
    rows = [dict(zip(names, row)) for row in cursor.fetchall()]
    texts = sorted(csv_rows(), key=lambda it: (it[0], int(it[1]["lap"]), int(it[1]["corner"])))
    assert len(rows) == len(texts) > 60
    compared = 0
    for row, (session, text) in zip(rows, texts):
        assert (row["session"], row["year"], str(row["date"])) == (session, 2031, "2031-05-18")
        for name in text.keys() - {"edited", "unclear"}:
            cell, expected = row[name.replace(".", "_")], text[name]
            compared += 1
            if expected == "":
                assert cell is None, name
            elif name.endswith("utc"):
                assert cell.strftime("%Y-%m-%dT%H:%M:%S") == expected[:19], name
            elif isinstance(cell, (int, float)):
                assert cell == float(expected), name
            else:
                assert cell == expected, name
    assert compared > 2000
