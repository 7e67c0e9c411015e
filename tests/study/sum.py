"""Sums the tables of a phantom study: `sum.py TABLES LENGTHS SUMMARY SECTION [FLAG…]` (see `run`).

Writes the lengths hole by hole (CSV), every figure (JSON) and a section to read (Markdown).
Lengths are counted as tests/validation counts them: none stands one step below the shortest.
"""

import csv
import json
import math
import pathlib
import sys

STEP_MM = 5.0  # of the phantoms' own stock, crates/phantom/src/hip/plan.rs and stage.rs
QUANTITIES = [
    ("near_cortex_mm", "near end of bone", "mm"),
    ("far_cortex_mm", "far end of bone", "mm"),
    ("bone_depth_mm", "depth of bone", "mm"),
    ("purchase_mm", "purchase", "mm"),
    ("near_thickness_mm", "near cortex", "mm"),
    ("far_thickness_mm", "far cortex", "mm"),
    ("hu.thread.mean", "thread mean", "HU"),
]
# Limits of the bands; the first and last are those of the recipe.
BANDS = {
    "cortex_mm": [0.6, 1.0, 1.5, 2.0, 3.0],
    "noise_hu": [0, 10, 20, 30, 40],
    "voxel_mm": [0.8, 0.9, 1.0, 1.1, 1.2],
    "blur_mm": [0.4, 0.6, 0.75, 0.9],
    "cortex_hu": [1000, 1200, 1400, 1550, 1700],
    "cancellous_hu": [-60, 50, 150, 250, 350],
}


def number(text):
    return float(text) if text else None


def errors(rows, column):
    known = [row for row in rows if row["truth." + column]]
    values = [float(row["error." + column]) for row in known if row["error." + column]]
    if not values:
        return {"known": len(known), "measured": 0, "bias": None, "rms": None, "p95": None, "worst": None}
    sizes = sorted(abs(v) for v in values)
    return {
        "known": len(known),
        "measured": len(values),
        "bias": math.fsum(values) / len(values),
        "rms": math.sqrt(math.fsum(v * v for v in values) / len(values)),
        # Nearest rank.
        "p95": sizes[math.ceil(0.95 * len(sizes)) - 1],
        "worst": max(values, key=abs),
    }


def lengths(rows):
    step = lambda mm: 0 if mm is None else round(mm / STEP_MM)
    pairs = [(step(number(r["length_mm"])), step(number(r["truth.length_mm"]))) for r in rows]
    return {
        "holes": len(pairs),
        "exact": sum(f == t for f, t in pairs),
        "within_one_step": sum(abs(f - t) <= 1 for f, t in pairs),
        "too_long": sum(f > t for f, t in pairs),
        "too_short": sum(f < t for f, t in pairs),
    }


def figures(rows):
    return {"lengths": lengths(rows), "errors": {c: errors(rows, c) for c, _, _ in QUANTITIES}}


def banded(rows, field, limits):
    out = []
    for low, high in zip(limits, limits[1:]):
        last = high == limits[-1]
        within = [r for r in rows if low <= float(r[field]) < high or (last and float(r[field]) == high)]
        out.append({"from": low, "to": high, **figures(within)})
    assert sum(band["lengths"]["holes"] for band in out) == len(rows), f"{field} outside the bands"
    return out


def share(part, whole):
    return f"{100 * part / whole:.1f} %" if whole else "-"


def shown(value, digits):
    return "-" if value is None else f"{value:.{digits}f}"


def section(summary):
    digits = {"mm": 3, "HU": 1}
    lines = [
        "# Accuracy over a thousand phantoms",
        "",
        "Made by `tests/study/run` from `fixtures/recipes/study.toml`; every figure is in `fixtures/reference/study.json`.",
        "The phantoms are balls of bone with a shell in soft tissue: their answers are exact, and they are no patients.",
        "",
        f"{summary['phantoms']} phantoms: {summary['done']} done, {summary['refused']} refused, {summary['unfinished']} without a record; "
        f"{summary['all']['lengths']['holes']} holes.",
        "",
        "## All",
        "",
        "| what | unit | known | measured | bias | RMS | 95 % within | worst |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for column, name, unit in QUANTITIES:
        e = summary["all"]["errors"][column]
        cells = [shown(e[k], digits[unit]) for k in ("bias", "rms", "p95", "worst")]
        lines.append(f"| {name} | {unit} | {e['known']} | {e['measured']} | {' | '.join(cells)} |")
    lines += ["", "## By what varied", "",
        "Far end in mm, thread mean in HU, RMS (worst); lengths against the length that the answers ask for, stock in steps of 5 mm.", "",
        "| varied | holes | far end | thread mean | exact | within a step | too long | too short |",
        "|---|---|---|---|---|---|---|---|"]
    groups = [("all", [summary["all"]])] + list(summary["by"].items())
    for field, bands in groups:
        for band in bands:
            n, far, hu = band["lengths"], band["errors"]["far_cortex_mm"], band["errors"]["hu.thread.mean"]
            name = field if field == "all" else f"`{field}` {band['from']} to {band['to']}"
            lines.append(
                f"| {name} | {n['holes']} | {shown(far['rms'], 3)} ({shown(far['worst'], 2)}) | {shown(hu['rms'], 1)} ({shown(hu['worst'], 0)}) | "
                + " | ".join(share(n[k], n["holes"]) for k in ("exact", "within_one_step", "too_long", "too_short"))
                + " |")
    return "\n".join(lines) + "\n"


def main():
    tables, out_lengths, out_summary, out_section = map(pathlib.Path, sys.argv[1:5])
    rows = list(csv.DictReader(open(tables / "holes.csv", newline="")))
    cases = list(csv.DictReader(open(tables / "cases.csv", newline="")))
    # A hole whose bone leaves the scan or has none on its way has no answer.
    answered = [row for row in rows if row["truth.far_cortex_mm"]]
    outcomes = [case["outcome"] for case in cases]
    summary = {
        "recipe": "fixtures/recipes/study.toml",
        "flags": sys.argv[5:],
        "phantoms": len(cases),
        "done": outcomes.count("done"),
        "refused": sum(o.endswith("refused") for o in outcomes),
        "unfinished": outcomes.count("unfinished"),
        "stock_step_mm": STEP_MM,
        "all": figures(answered),
        "by": {field: banded(answered, field, limits) for field, limits in BANDS.items()},
    }
    with open(out_lengths, "w", newline="") as file:
        write = csv.writer(file, lineterminator="\n").writerow
        write(["phantom", "hole", "step_mm", "truth_mm", "found_mm"])
        for row in answered:
            write([row["case"], row["hole"], f"{STEP_MM:g}", row["truth.length_mm"], row["length_mm"]])
    out_summary.write_text(json.dumps(summary, indent=1) + "\n")
    out_section.write_text(section(summary))


main()
