"""Makes fixtures/intake/positions.csv: patient positions of voxels by other readers.

Usage: intake_positions.py DATA_FOLDER > positions.csv
For zips of CT series in DATA_FOLDER: the slices are sorted along the normal; the
position of voxel (column, row) of a slice is highdicom's
PixelToReferenceTransformer of that slice's own header, and must equal
SimpleITK's TransformIndexToPhysicalPoint of the same file to 1e-4 mm. HU are
SimpleITK's. A row: series, column, row, slice, x, y, z, HU.
"""
import io
import os
import sys
import tempfile
import zipfile

import numpy as np
import pydicom
import SimpleITK as sitk
from highdicom.spatial import PixelToReferenceTransformer

SERIES = [
    "pelvis_native_3mm/series.zip",
    "density_phantom_cbct/series.zip",
    "trouble/tilt_plus16_philips.zip",
    "trouble/head_phantom_1mm.zip",
    "trouble/jpeg2000_overlap_no_uids_siemens.zip",
    "trouble/implicit_3slices.zip",
]
print("series,column,row,slice,x,y,z,hu")
for name in SERIES:
    archive = zipfile.ZipFile(os.path.join(sys.argv[1], name))
    slices = []
    for entry in archive.namelist():
        data = archive.read(entry)
        ds = pydicom.dcmread(io.BytesIO(data), stop_before_pixels=True)
        o = [float(v) for v in ds.ImageOrientationPatient]
        p = [float(v) for v in ds.ImagePositionPatient]
        slices.append((float(np.dot(np.cross(o[:3], o[3:]), p)), o, p, ds, data))
    slices.sort(key=lambda s: s[0])
    for k in sorted({0, 1, len(slices) // 2, len(slices) - 1}):
        _, o, p, ds, data = slices[k]
        to_patient = PixelToReferenceTransformer(p, o, [float(v) for v in ds.PixelSpacing])
        with tempfile.NamedTemporaryFile(suffix=".dcm") as f:
            f.write(data)
            f.flush()
            image = sitk.ReadImage(f.name)
        for column, row in [(0, 0), (ds.Columns - 1, 0), (ds.Columns // 2, ds.Rows // 2), (17, ds.Rows - 1)]:
            x, y, z = to_patient(np.array([[column, row]]))[0]
            other = image.TransformIndexToPhysicalPoint((column, row, 0))
            assert np.allclose(other, (x, y, z), atol=1e-4), (name, other, (x, y, z))
            hu = image[column, row, 0]
            print(f"{name},{column},{row},{k},{x:.6f},{y:.6f},{z:.6f},{hu}")
