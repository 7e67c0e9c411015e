"""Makes fixtures/reference/surface_vtk.csv: VTK's flying edges on a block of real bone.

Usage: python surface_vtk.py DATA > fixtures/reference/surface_vtk.csv

The block is COLUMNS x ROWS x SLICES voxels of pelvis_native_3mm around the left
hip's roof, with one layer of -1024 put around it so that the surface is closed.
Rows: "v,x,y,z" a vertex, mm; "t,a,b,c" a triangle of vertices, counted from 0.
"""

import pathlib
import sys
import tempfile
import zipfile

import numpy as np
import SimpleITK as sitk
import vtk
from vtk.util import numpy_support

FROM = (356, 252, 78)  # column, row, slice
SIZE = (14, 14, 7)
THRESHOLD_HU = 226.0


def main(data: pathlib.Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        zipfile.ZipFile(data / "pelvis_native_3mm" / "series.zip").extractall(folder)
        reader = sitk.ImageSeriesReader()
        reader.SetFileNames(reader.GetGDCMSeriesFileNames(folder))
        image = reader.Execute()
    hu = sitk.GetArrayFromImage(image)
    (c, r, s), (w, h, d) = FROM, SIZE
    block = np.full((d + 2, h + 2, w + 2), -1024.0)
    block[1:-1, 1:-1, 1:-1] = hu[s : s + d, r : r + h, c : c + w]
    grid = vtk.vtkImageData()
    grid.SetDimensions(w + 2, h + 2, d + 2)
    grid.SetSpacing(image.GetSpacing())
    grid.SetOrigin(image.TransformIndexToPhysicalPoint((c - 1, r - 1, s - 1)))
    grid.GetPointData().SetScalars(numpy_support.numpy_to_vtk(block.ravel(), deep=1))
    edges = vtk.vtkFlyingEdges3D()
    edges.SetInputData(grid)
    edges.SetValue(0, THRESHOLD_HU)
    edges.ComputeNormalsOff()
    edges.ComputeGradientsOff()
    edges.ComputeScalarsOff()
    edges.Update()
    mesh = edges.GetOutput()
    for x, y, z in numpy_support.vtk_to_numpy(mesh.GetPoints().GetData()):
        print(f"v,{x:.3f},{y:.3f},{z:.3f}")
    for a, b, c in numpy_support.vtk_to_numpy(mesh.GetPolys().GetConnectivityArray()).reshape(-1, 3):
        print(f"t,{a},{b},{c}")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
