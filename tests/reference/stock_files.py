"""Read a chart's stock.npy, stock.csv and stock.ply and hold them against each other.

    python stock_files.py FOLDER
"""

import csv
import sys
from pathlib import Path

import numpy as np

folder = Path(sys.argv[1])
table = np.load(folder / "stock.npy", allow_pickle=False)
with open(folder / "stock.csv", newline="") as file:
    rows = list(csv.DictReader(file))
assert table.ndim == 1 and len(table) == len(rows) > 0
names = table.dtype.names
assert (*names, "caution") == tuple(rows[0].keys()), "the same heads, and the caution"
for name in names:
    if name in ("chart", "dangers"):
        continue
    written = np.array([float(row[name]) if row[name] else np.nan for row in rows])
    assert np.array_equal(written, table[name], equal_nan=True), name
hatched = np.array([row["dangers"] != "" for row in rows])
assert np.array_equal(hatched, table["dangers"] > 0)

data = (folder / "stock.ply").read_bytes()
head, body = data.split(b"end_header\n", 1)
lines = head.decode("ascii").splitlines()
assert lines[:2] == ["ply", "format binary_little_endian 1.0"]
count = int(next(line for line in lines if line.startswith("element vertex")).split()[2])
fields = [line.split()[2] for line in lines if line.startswith("property float")]
vertices = np.frombuffer(body, dtype=[(name, "<f4") for name in fields], count=count)
centre = table[table["chart"] == 0]
assert len(centre) == count
for mesh, column in [
    ("x", "seat_l_mm"),
    ("y", "seat_p_mm"),
    ("z", "seat_s_mm"),
    ("depth_mm", "bone_depth_mm"),
    ("thread_mean_hu", "thread_mean_hu"),
    ("pullout_n", "pullout_n"),
]:
    assert np.allclose(vertices[mesh], centre[column], atol=2e-3, equal_nan=True), mesh
assert np.array_equal(vertices["hatched"] > 0, centre["dangers"] > 0)
