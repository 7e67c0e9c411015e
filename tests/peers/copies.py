"""Noisier and more blurred copies of a scan: how far its bones' surfaces move.

Needs numpy, scipy, pydicom and vtk. Reads a DICOM series (a zip), writes it
and copies of it as NIfTI, runs `pilothole bone` on each, and measures from
every vertex of the original's surface the distance to the copy's, and back.

    python tests/peers/copies.py BINARY SERIES.zip PLAN.toml [--half-mm 90] [--seed 1]

Copies: half the dose (white noise as strong as the scan's own is added, so
that the variance doubles; its own noise is the median over soft tissue of the
standard deviation in 5 x 5 squares), and a Gaussian blur of 0.5 mm in all
directions. The plan's socket centre is the middle of the box looked at.

Of the envelope (all bones together) and of each named bone alone, whose border
to its neighbours may be a guess, it prints RMS, mean and 95th percentile in mm and in voxels. A voxel is the cube
root of its volume. Limit: 0.5 voxel RMS.
"""
import argparse
import gzip
import io
import json
import os
import re
import struct
import subprocess
import tempfile
import zipfile

import numpy as np
import pydicom
import vtk
from scipy import ndimage
from vtk.util.numpy_support import vtk_to_numpy


# Surfaces of all bones together, whatever their names.
ENVELOPE = "envelope"


def read_series(path):
    slices = []
    with zipfile.ZipFile(path) as archive:
        for name in sorted(archive.namelist()):
            if not name.endswith("/"):
                slices.append(pydicom.dcmread(io.BytesIO(archive.read(name))))
    slices = [s for s in slices if "PixelData" in s]
    slices.sort(key=lambda s: float(s.ImagePositionPatient[2]))
    hu = np.stack(
        [s.pixel_array * float(s.RescaleSlope) + float(s.RescaleIntercept) for s in slices]
    )
    first = slices[0]
    step = (float(slices[-1].ImagePositionPatient[2]) - float(first.ImagePositionPatient[2])) / (
        len(slices) - 1
    )
    spacing = np.array([float(first.PixelSpacing[1]), float(first.PixelSpacing[0]), step])
    return hu.astype(np.float32), np.array(first.ImagePositionPatient, float), spacing


def crop(hu, origin, spacing, centre, half_mm):
    low = np.maximum(0, np.floor((centre - half_mm - origin) / spacing)).astype(int)
    high = np.minimum(hu.shape[::-1], np.ceil((centre + half_mm - origin) / spacing)).astype(int)
    box = hu[low[2] : high[2], low[1] : high[1], low[0] : high[0]]
    return box, origin + low * spacing


def own_noise(hu):
    tissue = (hu > -20) & (hu < 90)
    even = ndimage.uniform_filter(tissue.astype(np.float32), size=(1, 5, 5)) > 0.999
    mean = ndimage.uniform_filter(hu, size=(1, 5, 5))
    square = ndimage.uniform_filter(hu * hu, size=(1, 5, 5))
    sd = np.sqrt(np.maximum(square - mean * mean, 0) * 25 / 24)
    return float(np.median(sd[even]))


def write_nifti(path, hu, origin, spacing):
    """NIfTI-1, 16 bit; its x and y run against LPS."""
    header = bytearray(352)
    struct.pack_into("<i", header, 0, 348)
    struct.pack_into("<8h", header, 40, 3, *hu.shape[::-1], 1, 1, 1, 1)
    struct.pack_into("<2h", header, 70, 4, 16)
    struct.pack_into("<8f", header, 76, 1, *spacing, 0, 0, 0, 0)
    struct.pack_into("<2f", header, 108, 352, 1)
    struct.pack_into("<B", header, 123, 2)
    struct.pack_into("<2h", header, 252, 0, 1)
    rows = np.diag([-spacing[0], -spacing[1], spacing[2]])
    for row in range(3):
        place = -origin[row] if row < 2 else origin[row]
        struct.pack_into("<4f", header, 280 + 16 * row, *rows[row], place)
    header[344:348] = b"n+1\0"
    with gzip.open(path, "wb", compresslevel=1) as out:
        out.write(bytes(header))
        out.write(np.clip(np.round(hu), -1024, 3071).astype("<i2").tobytes())


def bones(binary, scan, plan, out):
    ran = subprocess.run(
        [binary, "bone", scan, "--plan", plan, "--out", out], capture_output=True, text=True
    )
    if ran.returncode != 0:
        raise SystemExit(ran.stderr)
    with open(os.path.join(out, "bones.json")) as file:
        rows = json.load(file)["bones"]
    surfaces, whole = {}, vtk.vtkAppendPolyData()
    for row in rows:
        if row["file"]:
            reader = vtk.vtkSTLReader()
            reader.SetFileName(os.path.join(out, row["file"]))
            reader.Update()
            whole.AddInputData(reader.GetOutput())
            if row["name"]:
                surfaces[row["name"]] = reader.GetOutput()
    whole.Update()
    surfaces[ENVELOPE] = whole.GetOutput()
    return surfaces


def distances(of, to, inner):
    """Unsigned distance of vertices of one surface, inside a box, to another."""
    locator = vtk.vtkCellLocator()
    locator.SetDataSet(to)
    locator.BuildLocator()
    points = vtk_to_numpy(of.GetPoints().GetData()).astype(float)
    points = points[((points > inner[0]) & (points < inner[1])).all(axis=1)]
    points = points[:: max(1, len(points) // 20000)]
    at, cell, sub, square = [0.0] * 3, vtk.reference(0), vtk.reference(0), vtk.reference(0.0)
    found = np.empty(len(points))
    for i, point in enumerate(points):
        locator.FindClosestPoint(point, at, cell, sub, square)
        found[i] = float(square) ** 0.5
    return found


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("binary")
    ask.add_argument("series")
    ask.add_argument("plan")
    ask.add_argument("--half-mm", type=float, default=90.0)
    ask.add_argument("--seed", type=int, default=1, help="of the noise")
    told = ask.parse_args()
    hu, origin, spacing = read_series(told.series)
    text = open(told.plan).read()
    centre = np.array(json.loads(re.search(r"centre_mm\s*=\s*(\[[^\]]*\])", text).group(1)))
    hu, origin = crop(hu, origin, spacing, centre, told.half_mm)
    noise = own_noise(hu)
    rng = np.random.default_rng(told.seed)
    copies = {
        "half dose": hu + rng.normal(0, noise, hu.shape).astype(np.float32),
        "blur 0.5 mm": ndimage.gaussian_filter(hu, 0.5 / spacing[::-1]),
    }
    voxel = float(np.prod(spacing) ** (1 / 3))
    print(f"voxel {spacing} mm, cube {voxel:.3f} mm; own noise {noise:.1f} HU")
    # What lies within 12 mm of the box's sides sees less of the bone.
    size = np.array(hu.shape[::-1]) * spacing
    inner = (origin + 12, origin + size - 12)
    with tempfile.TemporaryDirectory() as folder:
        def found(name, hu):
            scan = os.path.join(folder, name + ".nii.gz")
            write_nifti(scan, hu, origin, spacing)
            return bones(told.binary, scan, told.plan, os.path.join(folder, name))

        still = found("still", hu)
        for number, (name, moved) in enumerate(copies.items()):
            other = found(f"copy{number}", moved)
            for bone in still:
                if bone not in other:
                    print(f"{name}: {bone} is not found in the copy")
                    continue
                there = distances(still[bone], other[bone], inner)
                back = distances(other[bone], still[bone], inner)
                both = np.concatenate([there, back])
                if len(both) == 0:
                    continue
                rms = np.sqrt((both**2).mean())
                word = ("within" if rms <= 0.5 * voxel else "EXCEEDS") + " 0.5"
                print(
                    f"{name}: {bone}: RMS {rms:.3f} mm, {rms / voxel:.3f} voxel ({word}); mean"
                    f" {both.mean():.3f}, 95 % {np.percentile(both, 95):.3f}, most {both.max():.2f} mm"
                )


if __name__ == "__main__":
    main()
