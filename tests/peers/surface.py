"""Surface extraction beside VTK's, on the same voxels, in the same run.

Needs vtk and numpy. Builds the example `surface_peer`, then runs VTK's flying
edges, VTK's surface nets and ours alternately, and prints seconds, peak memory
over what the volume takes, ratios, and the faults of each mesh after merging
by f32 position as an STL reader does.

    python tests/peers/surface.py [--raw FILE --size 512 512 163 --spacing 1 1 3]
                                  [--slices 300] [--threshold 226] [--repeats 7]

Without --raw a phantom is made: noisy bone-like shells, 512 x 512 x slices.
With --raw (little-endian i16, slice by slice) slices are mirrored to --slices.
"""
import argparse
import json
import os
import subprocess
import sys
import tempfile
import time

import numpy as np

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))


def phantom(slices):
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:512, 0:512].astype(np.float32)
    out = np.empty((slices, 512, 512), np.int16)
    for k in range(slices):
        shell = np.full((512, 512), -100.0, np.float32)
        for cx, cy in ((150, 250), (360, 250)):
            r = np.hypot(x - cx, (y - cy) * 1.2) - 70 - 12 * np.sin(0.05 * k + 0.04 * x)
            shell = np.maximum(shell, 1100 - 260 * np.abs(r))
            shell = np.maximum(shell, np.where(r < 0, 120 + 160 * np.sin(x * 0.35) * np.sin(y * 0.31) * np.sin(k * 0.4), -100))
        out[k] = shell + rng.normal(0, 12, (512, 512)).astype(np.float32)
    return out


def mirrored(volume, slices):
    have = len(volume)
    period = np.concatenate([np.arange(have), np.arange(have)[::-1]])
    return np.ascontiguousarray(volume[period[np.arange(slices) % len(period)]])


def merged(points, faces):
    points = np.asarray(points, np.float32) + np.float32(0)
    _, inverse = np.unique(points.view(np.uint32).reshape(-1, 3), axis=0, return_inverse=True)
    return inverse.ravel()[faces]


def faults(points, faces):
    """Open edges, edges of more than two triangles, collapsed triangles, quality p5."""
    a, b, c = (np.asarray(points, np.float64)[faces[:, n]] for n in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    edges2 = ((b - a) ** 2).sum(1) + ((c - b) ** 2).sum(1) + ((a - c) ** 2).sum(1)
    quality = 4 * np.sqrt(3) * area / np.maximum(edges2, 1e-30)
    f = merged(points, faces)
    flat = (f[:, 0] == f[:, 1]) | (f[:, 1] == f[:, 2]) | (f[:, 2] == f[:, 0])
    f = f[~flat]
    edges = np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1)
    key = edges[:, 0].astype(np.int64) << 32 | edges[:, 1]
    _, counts = np.unique(key, return_counts=True)
    return {
        "open": int((counts == 1).sum()),
        "shared": int((counts > 2).sum()),
        "collapsed": int(flat.sum()),
        "quality_p5": round(float(np.percentile(quality, 5)), 3),
    }


def peak_kb():
    with open("/proc/self/status") as status:
        return int(status.read().split("VmHWM:")[1].split()[0])


def run_vtk(raw, size, spacing, threshold, threads, repeats, method, mesh_out):
    """In a process of its own, so that peaks are its own."""
    import vtk
    from vtk.util import numpy_support as ns

    vtk.vtkSMPTools.SetBackend("STDThread")
    vtk.vtkSMPTools.Initialize(threads)
    volume = np.fromfile(raw, np.int16)
    image = vtk.vtkImageData()
    image.SetDimensions(*size)
    image.SetSpacing(*spacing)
    scalars = ns.numpy_to_vtk(volume, deep=0, array_type=vtk.VTK_SHORT)
    image.GetPointData().SetScalars(scalars)
    source = image
    if method == "surface nets":
        cut = vtk.vtkImageThreshold()
        cut.SetInputData(image)
        cut.ThresholdByUpper(threshold)
        cut.SetInValue(1)
        cut.SetOutValue(0)
        cut.SetOutputScalarTypeToUnsignedChar()
        cut.Update()
        source = cut.GetOutput()
    with open("/proc/self/clear_refs", "w") as reset:
        reset.write("5")
    before, wall, busy = peak_kb(), 1e9, 1e9
    for _ in range(repeats):
        if method == "flying edges":
            f = vtk.vtkFlyingEdges3D()
            f.ComputeNormalsOff()
            f.ComputeGradientsOff()
            f.ComputeScalarsOff()
            f.SetValue(0, threshold)
        else:
            f = vtk.vtkSurfaceNets3D()
            f.SetValue(0, 1)
            f.SetOutputMeshTypeToTriangles()
        f.SetInputData(source)
        clock, cpu = time.perf_counter(), time.process_time()
        f.Update()
        wall = min(wall, time.perf_counter() - clock)
        busy = min(busy, time.process_time() - cpu)
        mesh = f.GetOutput()
    peak = peak_kb() - before
    if mesh_out:
        points = ns.vtk_to_numpy(mesh.GetPoints().GetData())
        faces = ns.vtk_to_numpy(mesh.GetPolys().GetConnectivityArray()).reshape(-1, 3)
        np.savez(mesh_out, points=points, faces=faces)
    print(json.dumps({"wall_s": round(wall, 4), "cpu_s": round(busy, 4), "peak_kb": peak,
                      "triangles": mesh.GetNumberOfPolys()}))


def read_stl(path):
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    triangles = np.fromfile(path, record, offset=84)
    points = triangles["corners"].reshape(-1, 3)
    return points, np.arange(len(points)).reshape(-1, 3)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--raw")
    parser.add_argument("--size", nargs=3, type=int, default=[512, 512, 163])
    parser.add_argument("--spacing", nargs=3, type=float, default=[1.0, 1.0, 1.0])
    parser.add_argument("--slices", type=int, default=300)
    parser.add_argument("--threshold", type=float, default=226.0)
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--vtk", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.vtk:
        method, threads, mesh_out = options.vtk
        run_vtk(options.raw, options.size, options.spacing, options.threshold, int(threads),
                options.repeats, method, mesh_out or None)
        return
    build = ["cargo", "build", "--release", "-p", "pilothole-surface", "--example", "surface_peer",
             "--message-format", "json"]
    built = subprocess.run(build, cwd=ROOT, check=True, capture_output=True, text=True)
    messages = (json.loads(line) for line in built.stdout.splitlines())
    binary = next(m["executable"] for m in messages
                  if m.get("executable") and m["target"]["name"] == "surface_peer")
    with tempfile.TemporaryDirectory() as folder:
        if options.raw:
            volume = np.fromfile(options.raw, np.int16).reshape(options.size[::-1])
            volume = mirrored(volume, options.slices)
        else:
            volume = phantom(options.slices)
        raw = os.path.join(folder, "volume.i16")
        volume.tofile(raw)
        size = [str(n) for n in volume.shape[::-1]]
        del volume
        spacing = [str(s) for s in options.spacing]
        print(f"{' x '.join(size)} voxels, threshold {options.threshold}, "
              f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        print(f"{'method':<14}{'threads':>8}{'wall s':>9}{'cpu s':>9}{'peak MB':>9}{'triangles':>11}")
        results = {}
        for threads in (1, 2):
            for method in ("flying edges", "surface nets", "ours", "ours, plain"):
                mesh = os.path.join(folder, f"{method}.stl" if "ours" in method else f"{method}.npz")
                if "ours" in method:
                    command = [binary, raw, *size, *spacing, str(options.threshold), str(threads),
                               str(options.repeats), "plain" if "plain" in method else "nets", mesh]
                else:
                    command = [sys.executable, __file__, "--raw", raw, "--size", *size, "--spacing",
                               *spacing, "--threshold", str(options.threshold), "--repeats",
                               str(options.repeats), "--vtk", method, str(threads), mesh]
                answer = subprocess.run(command, check=True, capture_output=True, text=True)
                found = json.loads(answer.stdout.splitlines()[-1])
                results[method, threads] = found
                print(f"{method:<14}{threads:>8}{found['wall_s']:>9.3f}{found['cpu_s']:>9.3f}"
                      f"{found['peak_kb'] / 1024:>9.0f}{found['triangles']:>11}")
        for threads in (1, 2):
            theirs = results["flying edges", threads]
            for method in ("ours", "ours, plain"):
                ours = results[method, threads]
                print(f"flying edges / {method}, {threads} threads: "
                      f"wall {theirs['wall_s'] / ours['wall_s']:.2f}, "
                      f"cpu {theirs['cpu_s'] / ours['cpu_s']:.2f}; "
                      f"memory {method} / flying edges {ours['peak_kb'] / theirs['peak_kb']:.2f}")
        for method in ("flying edges", "surface nets", "ours", "ours, plain"):
            if "ours" in method:
                points, faces = read_stl(os.path.join(folder, f"{method}.stl"))
            else:
                stored = np.load(os.path.join(folder, f"{method}.npz"))
                points, faces = stored["points"], stored["faces"]
            print(f"{method:<14}{faults(points, faces)}")


if __name__ == "__main__":
    main()
