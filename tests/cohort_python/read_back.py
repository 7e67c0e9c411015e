"""Reads the tables of a cohort with DuckDB and Polars and compares them, bit by bit, with the CSV file and the reports.

The reference is Python's own reading of the CSV text: `float` there is exactly rounded.
"""
import csv
import glob
import json
import re
import struct
import sys
from pathlib import Path

import duckdb
import polars

OUT = Path(sys.argv[1])
DICTIONARY = Path(__file__).resolve().parents[2] / "docs/cohort-tables.md"


def bits(value):
    return struct.pack("<d", value).hex() if isinstance(value, float) else value


def stated_types():
    """Table -> column -> type, out of the data dictionary."""
    types, table = {}, None
    for line in DICTIONARY.read_text().splitlines():
        if found := re.match(r"## `(\w+)`", line):
            table = types.setdefault(found[1], {})
        elif found := re.match(r"\| `([^`]+)` \| (text|double|int64) \|", line):
            if table is not None and len(line.split("|")) == 6:
                table.setdefault(found[1], found[2])
    return types


def reference(table, types):
    """Columns of the CSV file by the stated types; columns of the group's own are text."""
    read = {"text": str, "double": float, "int64": int}
    with open(OUT / f"tables/{table}.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    names = list(rows[0])
    return names, [
        [None if row[n] == "" else bits(read[types.get(n, "text")](row[n])) for n in names] for row in rows
    ]


def check(table, types):
    names, rows = reference(table, types)
    path = str(OUT / f"tables/{table}.parquet")
    duck = duckdb.connect().sql(f"SELECT * FROM '{path}'")
    wanted = {"text": "VARCHAR", "double": "DOUBLE", "int64": "BIGINT"}
    assert duck.columns == names, (table, "columns")
    assert [str(t) for t in duck.types] == [wanted[types.get(n, "text")] for n in names], (table, "types")
    assert [[bits(v) for v in row] for row in duck.fetchall()] == rows, (table, "DuckDB")
    frame = polars.read_parquet(path)
    kinds = {"text": polars.String, "double": polars.Float64, "int64": polars.Int64}
    assert frame.columns == names and frame.dtypes == [kinds[types.get(n, "text")] for n in names]
    assert [[bits(v) for v in row] for row in frame.rows()] == rows, (table, "Polars")
    schema = {n: kinds[types.get(n, "text")] for n in names}
    text = polars.read_csv(OUT / f"tables/{table}.csv", schema=schema)
    assert [[bits(v) for v in row] for row in text.rows()] == rows, (table, "CSV by Polars")
    doubles = sum(types.get(n, "text") == "double" for n in names)
    nulls = sum(value is None for row in rows for value in row)
    print(f"{table}: {len(rows)} rows, {doubles} columns of doubles, {nulls} nulls, exact in both")
    return names, rows


def against_reports(names, rows):
    """Every double of `holes` is the one of the report it came from."""
    reports = {}
    for path in glob.glob(str(OUT / "cases/*/*/report.json")):
        reports[Path(path).parent.name] = json.loads(Path(path).read_text())
    at = {name: position for position, name in enumerate(names)}
    compared = 0
    for row in rows:
        hole = reports[row[at["case"]]]["holes"][row[at["hole"]] - 1]
        for name in ["near_cortex_mm", "far_cortex_mm", "bone_depth_mm", "engaged_mm", "side_wall_mm"]:
            assert row[at[name]] == bits(hole[name]), (row[at["case"]], name)
            compared += 1
        mean = hole["hu"] and bits(hole["hu"]["thread"]["mean"])
        assert row[at["hu.thread.mean"]] == mean
    print(f"{compared} doubles are those of the reports")


types = stated_types()
assert set(types) == {"cases", "holes", "findings"}
for table in types:
    names, rows = check(table, types[table])
    if table == "holes":
        against_reports(names, rows)
