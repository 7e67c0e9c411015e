"""Hounsfield units along ten paths of a real scan, by SimpleITK's linear sampling.

Usage: python hu_along_paths.py DATA > fixtures/reference/hu_along_paths.csv

DATA holds pelvis_native_3mm/series.zip. The paths are five holes each of
fixtures/plans/pelvis-native-left.toml and -right.toml, from the seat along the
direction, every 1.37 mm for 60 mm. Columns: path, seat, direction, position, HU.
"""

import pathlib
import sys
import tempfile
import tomllib
import zipfile

import SimpleITK as sitk

STEP_MM, LENGTH_MM, HOLES = 1.37, 60.0, 5


def main(data: pathlib.Path) -> None:
    plans = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "plans"
    with tempfile.TemporaryDirectory() as folder:
        zipfile.ZipFile(data / "pelvis_native_3mm" / "series.zip").extractall(folder)
        reader = sitk.ImageSeriesReader()
        reader.SetFileNames(reader.GetGDCMSeriesFileNames(folder))
        image = sitk.Cast(reader.Execute(), sitk.sitkFloat64)
    print("path,seat_x,seat_y,seat_z,direction_x,direction_y,direction_z,position_mm,hu")
    number = 0
    for side in ("left", "right"):
        plan = tomllib.loads((plans / f"pelvis-native-{side}.toml").read_text())
        for hole in plan["hole"][:HOLES]:
            number += 1
            seat, along = hole["seat_mm"], hole["direction"]
            norm = sum(c * c for c in along) ** 0.5
            along = [c / norm for c in along]
            for step in range(int(LENGTH_MM / STEP_MM) + 1):
                t = step * STEP_MM
                point = [s + t * c for s, c in zip(seat, along)]
                index = image.TransformPhysicalPointToContinuousIndex(point)
                hu = image.EvaluateAtContinuousIndex(index, sitk.sitkLinear)
                row = [number, *seat, *(f"{c:.9f}" for c in along), f"{t:.2f}", f"{hu:.3f}"]
                print(",".join(str(v) for v in row))


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
