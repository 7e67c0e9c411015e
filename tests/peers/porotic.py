"""Porotic bone by a healthy bone's threshold and by the envelope, side by side.

Needs numpy, scipy, pydicom, SimpleITK and matplotlib. Makes the porotic tubes
of our own phantom, runs `pilothole assess` and `pilothole bone` on each, and
does what thresholding does: 226 HU, closed by 1 mm, filled in 3-D.

    python tests/peers/porotic.py BINARY PICTURE.png

Prints one row a path: where its far cortex truly ends, where the tool places
it, where the threshold's first run of bone ends; "lost" is more than 2 mm
short. Draws one slice a case: threshold above, envelope below.
"""
import json
import os
import subprocess
import sys
import tempfile

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import SimpleITK as sitk
from scipy import ndimage

THRESHOLD_HU = 226
CASES = [(0.8, -80), (0.8, 80), (1.2, -80), (1.2, 80)]
RECIPE = """name = "porotic tube"
scene = "tube"
[grid]
extent_mm = [56, 56, 104]
[bone]
depth_mm = 28.0
cortex_mm = {cortex}
cancellous_hu = {marrow}
[scanner]
blur_mm = 0.6
noise_hu = 15
[pose]
turn_deg = [8, 0, 20]
"""


def run(*words):
    ran = subprocess.run(words, capture_output=True, text=True)
    if ran.returncode != 0:
        raise SystemExit(ran.stderr)


def read(folder):
    reader = sitk.ImageSeriesReader()
    ids = reader.GetGDCMSeriesIDs(folder)
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(folder, ids[0]))
    return reader.Execute()


def by_threshold(scan):
    bright = sitk.GetArrayFromImage(scan) >= THRESHOLD_HU
    spacing = np.array(scan.GetSpacing())[::-1]
    far = ndimage.distance_transform_edt(~bright, sampling=spacing)
    wide = far <= 1.0
    closed = ndimage.distance_transform_edt(wide, sampling=spacing) > 1.0
    return ndimage.binary_fill_holes(closed | bright)


def first_run_mm(scan, mask, hole):
    """End of the first run of the mask along a path, from the seat."""
    seat, way = np.array(hole["seat_mm"]), np.array(hole["direction"])
    inside = False
    for step in range(0, 1200):
        at = scan.TransformPhysicalPointToIndex(tuple(seat + way * step * 0.05))
        if not all(0 <= a < n for a, n in zip(at, scan.GetSize())):
            return None
        now = mask[at[::-1]]
        if inside and not now:
            return step * 0.05
        inside = inside or now
    return None


def main():
    binary, picture = sys.argv[1:3]
    figure, axes = plt.subplots(2, len(CASES), figsize=(2.0 * len(CASES), 4.4), layout="constrained")
    print("| cortex, mm | marrow, HU | path | true far end, mm | envelope | threshold |")
    print("| --- | --- | --- | --- | --- | --- |")
    lost_by = [0, 0]
    for column, (cortex, marrow) in enumerate(CASES):
        with tempfile.TemporaryDirectory() as home:
            recipe = os.path.join(home, "recipe.toml")
            with open(recipe, "w") as file:
                file.write(RECIPE.format(cortex=cortex, marrow=marrow))
            made, out, bones = (os.path.join(home, name) for name in ("made", "out", "bones"))
            run(binary, "phantom", recipe, "--out", made)
            series, plan = os.path.join(made, "scan"), os.path.join(made, "plan.toml")
            run(binary, "assess", series, plan, "--out", out, "--samples", "8", "--timeless")
            run(binary, "bone", series, "--plan", plan, "--out", bones)
            truth = json.load(open(os.path.join(made, "truth.json")))["holes"]
            report = json.load(open(os.path.join(out, "report.json")))["holes"]
            scan = read(series)
            labels = sitk.ReadImage(os.path.join(bones, "labels.nii.gz"))
            labels = sitk.Resample(labels, scan, sitk.Transform(), sitk.sitkNearestNeighbor)
            envelope = sitk.GetArrayFromImage(labels) > 0
            mask = by_threshold(scan)
            for known, found in zip(truth, report):
                end = known["far_cortex_mm"]
                words = []
                ends = (found["far_cortex_mm"], first_run_mm(scan, mask, found))
                for way, placed in enumerate(ends):
                    lost = placed is None or placed < end - 2.0
                    lost_by[way] += lost
                    word = "none" if placed is None else f"{placed:.1f}"
                    words.append(word + (" **lost**" if lost else ""))
                print(f"| {cortex} | {marrow} | {known['id']} | {end:.1f} | {words[0]} | {words[1]} |")
            hu = sitk.GetArrayFromImage(scan)
            middle = slice(hu.shape[0] // 4, -hu.shape[0] // 4)
            hu, mask, envelope = hu[middle], mask[middle], envelope[middle]
            x = hu.shape[2] // 2
            spacing = scan.GetSpacing()
            for row, drawn in enumerate((mask, envelope)):
                axis = axes[row][column]
                axis.imshow(
                    hu[:, :, x], cmap="gray", vmin=-150, vmax=700, origin="lower",
                    aspect=spacing[2] / spacing[1],
                )
                if drawn[:, :, x].any():
                    axis.contour(drawn[:, :, x], [0.5], colors=["#ff8c00"], linewidths=0.9)
                axis.set_axis_off()
                word = "threshold" if row == 0 else "envelope"
                axis.set_title(f"{word}: {cortex} mm, {marrow} HU", fontsize=7)
    print(f"\nlost: envelope {lost_by[0]}, threshold {lost_by[1]}, of {3 * len(CASES)}")
    figure.savefig(picture, dpi=75)


if __name__ == "__main__":
    main()
