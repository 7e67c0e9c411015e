"""Reading one uncompressed CT series: Pilothole, SimpleITK and pydicom in one run.

Usage: read_times.py FOLDER [READ_TIMES_BINARY]
Build the binary first: cargo build --release -p pilothole-intake --example read_times
Each reader opens the folder, sorts the slices and ends with one array of HU;
the best of five, from a warm cache. Prints milliseconds and ratios.
"""
import json
import os
import subprocess
import sys
import time

import numpy as np
import pydicom
import SimpleITK as sitk

folder = sys.argv[1]
binary = sys.argv[2] if len(sys.argv) > 2 else "target/release/examples/read_times"


def best(work, repeats=5):
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(1e3 * (time.perf_counter() - start))
    return min(times)


def by_simpleitk():
    reader = sitk.ImageSeriesReader()
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(folder))
    return reader.Execute()


def by_pydicom():
    slices = [pydicom.dcmread(os.path.join(folder, name)) for name in os.listdir(folder)]
    slices.sort(key=lambda s: float(s.ImagePositionPatient[2]))
    return np.stack([s.pixel_array * np.float32(s.RescaleSlope) + np.float32(s.RescaleIntercept) for s in slices])


ours = json.loads(subprocess.run([binary, folder, "7"], capture_output=True, text=True, check=True).stdout)
ours["simpleitk_ms"] = round(best(by_simpleitk), 1)
ours["pydicom_ms"] = round(best(by_pydicom), 1)
read = ours["read_ms"]
ours["read_over_copied_twice"] = round(read / ours["copied_twice_ms"], 2)
ours["read_over_copied_twice_all_cores"] = round(read / ours["copied_twice_all_cores_ms"], 2)
ours["simpleitk_over_read"] = round(ours["simpleitk_ms"] / read, 2)
ours["pydicom_over_read"] = round(ours["pydicom_ms"] / read, 2)
print(json.dumps(ours, indent=1))
