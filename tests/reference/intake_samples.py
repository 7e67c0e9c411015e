"""Makes fixtures/intake/samples.csv: hashes of stored pixel values by other readers.

Usage: intake_samples.py DATA_FOLDER > samples.csv
Without real scans in DATA_FOLDER only the first group of rows is made.
Looks at the grey images with 8 or 16 bits allocated that pydicom's wheel ships
(3.0.2), and at the zips of DATA_FOLDER/trouble. Values come from pydicom (with
pyjpegls for JPEG-LS and pillow for JPEG 2000) or, where it has no decoder
(JPEG lossless), from SimpleITK (GDCM) with the rescale undone.
A row: set, file, syntax, frames, rows, columns, reader, SHA-256 over all frames
as 32-bit little-endian whole numbers, row by row.
No pixel and no header value is written.
"""
import hashlib
import io
import os
import sys
import tempfile
import zipfile

import numpy as np
import pydicom
import SimpleITK as sitk
from pydicom.pixels import pixel_array


def by_pydicom(data):
    return pixel_array(io.BytesIO(data)).astype(np.int64)


def by_simpleitk(data, ds):
    with tempfile.NamedTemporaryFile(suffix=".dcm") as f:
        f.write(data)
        f.flush()
        image = sitk.GetArrayFromImage(sitk.ReadImage(f.name)).astype(np.float64)
    slope, intercept = float(ds.get("RescaleSlope", 1)), float(ds.get("RescaleIntercept", 0))
    return np.rint((image - intercept) / slope).astype(np.int64)


def row(group, name, data):
    ds = pydicom.dcmread(io.BytesIO(data), force=True)
    if "PixelData" not in ds or ds.get("SamplesPerPixel", 1) != 1 or ds.get("BitsAllocated") not in (8, 16):
        return
    syntax = getattr(ds, "file_meta", {}).get("TransferSyntaxUID", "")
    reader, values = "pydicom", None
    try:
        values = by_pydicom(data)
    except Exception:
        try:
            reader, values = "SimpleITK", by_simpleitk(data, ds)
        except Exception:
            reader = "none"
    digest = "" if values is None else hashlib.sha256(values.astype("<i4").tobytes()).hexdigest()
    frames = int(ds.get("NumberOfFrames", 1) or 1)
    print(f"{group},{name},{syntax},{frames},{ds.Rows},{ds.Columns},{reader},{digest}")


print("set,file,syntax,frames,rows,columns,reader,sha256")
folder = os.path.join(os.path.dirname(pydicom.__file__), "data", "test_files")
for name in sorted(os.listdir(folder)):
    path = os.path.join(folder, name)
    if os.path.isfile(path) and name.endswith(".dcm"):
        row("pydicom", name, open(path, "rb").read())
trouble = os.path.join(sys.argv[1], "trouble")
for name in sorted(os.listdir(trouble)) if os.path.isdir(trouble) else []:
    if name in ("codecs_ct1.zip", "codecs_rare.zip", "jpeg2000_overlap_no_uids_siemens.zip",
                "implicit_3slices.zip", "enhanced_ct_perfusion.zip"):
        archive = zipfile.ZipFile(os.path.join(trouble, name))
        for entry in sorted(archive.namelist())[:12]:
            row(name, entry, archive.read(entry))
