"""Surface extraction beside VTK's, on the same voxels, in the same run.

Needs vtk and numpy. Builds the example `surface_peer`, then runs VTK's flying
edges, VTK's surface nets and ours alternately, and prints seconds, peak memory
over what the volume takes, ratios, and the faults of each mesh after merging
by f32 position as an STL reader does.

    python tests/peers/surface.py [--raw FILE --size 512 512 163 --spacing 1 1 3]
                                  [--slices 300] [--threshold 226] [--repeats 7]

Without --raw a phantom is made: noisy bone-like shells, 512 x 512 x slices.
With --raw (little-endian i16, slice by slice) slices are mirrored to --slices.
Last come the volumes, beside that of the samples' trilinear interpolation, and
bodies whose surfaces are known: a sphere, an ellipsoid and a torus.
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


def enclosed(points, faces):
    a, b, c = (np.asarray(points, np.float64)[faces[:, n]] for n in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def trilinear_volume(volume, threshold, parts=6):
    """Voxels above the threshold of the trilinear interpolation, by midpoints
    of parts³ pieces of every cell that the surface passes; what reaches the
    border ends half a voxel beyond it."""
    padded = np.pad(volume.astype(np.float32) - np.float32(threshold), 1, mode="edge")
    for axis in range(3):
        for end in (0, -1):
            layer = [slice(None)] * 3
            layer[axis] = end
            padded[tuple(layer)] = -np.abs(padded[tuple(layer)])
    at = (np.arange(parts) + 0.5) / parts
    z, y, x = (g.ravel() for g in np.meshgrid(at, at, at, indexing="ij"))
    weights = np.stack([(z if c & 4 else 1 - z) * (y if c & 2 else 1 - y) * (x if c & 1 else 1 - x)
                        for c in range(8)]).astype(np.float32)
    total = 0.0
    for k in range(len(padded) - 1):
        corners = np.stack([padded[k + (c >> 2), (c >> 1 & 1):][:padded.shape[1] - 1, (c & 1):]
                            [:, :padded.shape[2] - 1] for c in range(8)])
        inside = (corners >= 0).sum(axis=0)
        total += float((inside == 8).sum())
        crossed = corners[:, (inside > 0) & (inside < 8)].T
        for first in range(0, len(crossed), 1 << 14):
            total += float((crossed[first:first + (1 << 14)] @ weights >= 0).mean(axis=1).sum())
    return total


# Depth below the surface, voxels, first order about it; and the volume.
MIDDLE = np.array([32.3, 31.6, 32.9])


def sphere(p):
    return 20 - np.linalg.norm(p - MIDDLE, axis=-1)


def ellipsoid(p, radii=np.array([26.0, 17.0, 21.0])):
    q = (p - MIDDLE) / radii
    near, slope = np.linalg.norm(q, axis=-1), np.linalg.norm(q / radii, axis=-1)
    return near * (1 - near) / slope


def torus(p):
    q = p - MIDDLE
    return 7 - np.hypot(np.hypot(q[..., 0], q[..., 1]) - 18, q[..., 2])


BODIES = {"sphere of 20": (sphere, 4 / 3 * np.pi * 20**3),
          "ellipsoid of 26, 17, 21": (ellipsoid, 4 / 3 * np.pi * 26 * 17 * 21),
          "torus of 18 and 7": (torus, 2 * np.pi**2 * 18 * 7**2)}


def known_bodies(run, folder):
    """A row a body and method: RMS error at vertices and triangle middles."""
    print(f"\n{'body':<25}{'method':<18}{'RMS voxel':>10}{'volume %':>10}{'quality p5':>12}"
          f"{'shared':>8}{'collapsed':>11}")
    z, y, x = np.mgrid[0:66, 0:66, 0:66].astype(np.float64)
    for name, (depth, exact) in BODIES.items():
        # 4,000 a voxel in i16; the slope ends eight voxels from the surface.
        values = np.clip(depth(np.stack([x, y, z], axis=-1)) * 4000, -32000, 32000)
        raw = os.path.join(folder, "body.i16")
        np.round(values).astype(np.int16).tofile(raw)
        for method in ("flying edges", "surface nets", "ours", "ours, plain", "ours, contouring"):
            points, faces, _ = run(raw, ["66"] * 3, ["1"] * 3, 0.0, 1, 1, method)
            middles = np.asarray(points, np.float64)[faces].mean(axis=1)
            error = depth(np.concatenate([np.asarray(points, np.float64)[np.unique(faces)], middles]))
            found = faults(points, faces)
            print(f"{name:<25}{method:<18}{np.sqrt((error**2).mean()):>10.4f}"
                  f"{100 * (abs(enclosed(points, faces)) / exact - 1):>10.3f}{found['quality_p5']:>12}"
                  f"{found['shared']:>8}{found['collapsed']:>11}", flush=True)


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
        def run(raw, size, spacing, threshold, threads, repeats, method):
            """Points, triangles and what was measured."""
            is_ours = method.startswith("ours")
            mesh = os.path.join(folder, "mesh.stl" if is_ours else "mesh.npz")
            if is_ours:
                way = {"ours": "nets", "ours, plain": "plain", "ours, contouring": "contouring"}
                command = [binary, raw, *size, *spacing, str(threshold), str(threads), str(repeats),
                           way[method], mesh]
            else:
                command = [sys.executable, __file__, "--raw", raw, "--size", *size, "--spacing",
                           *spacing, "--threshold", str(threshold), "--repeats", str(repeats),
                           "--vtk", method, str(threads), mesh]
            answer = subprocess.run(command, check=True, capture_output=True, text=True)
            if is_ours:
                points, faces = read_stl(mesh)
            else:
                stored = np.load(mesh)
                points, faces = stored["points"], stored["faces"]
            return points, faces, json.loads(answer.stdout.splitlines()[-1])

        if options.raw:
            volume = np.fromfile(options.raw, np.int16).reshape(options.size[::-1])
            volume = mirrored(volume, options.slices)
        else:
            volume = phantom(options.slices)
        raw = os.path.join(folder, "volume.i16")
        volume.tofile(raw)
        size = [str(n) for n in volume.shape[::-1]]
        spacing = [str(s) for s in options.spacing]
        exact = trilinear_volume(volume, options.threshold) * np.prod(options.spacing)
        del volume
        print(f"{' x '.join(size)} voxels, threshold {options.threshold}, "
              f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        print(f"{'method':<14}{'threads':>8}{'wall s':>9}{'cpu s':>9}{'peak MB':>9}{'triangles':>11}")
        methods = ("flying edges", "surface nets", "ours", "ours, plain")
        results, meshes = {}, {}
        for threads in (1, 2):
            for method in methods:
                points, faces, found = run(raw, size, spacing, options.threshold, threads,
                                           options.repeats, method)
                meshes[method] = {"volume %": round(float(100 * (enclosed(points, faces) / exact - 1)), 3),
                                  **faults(points, faces)}
                results[method, threads] = found
                print(f"{method:<14}{threads:>8}{found['wall_s']:>9.3f}{found['cpu_s']:>9.3f}"
                      f"{found['peak_kb'] / 1024:>9.0f}{found['triangles']:>11}", flush=True)
        for threads in (1, 2):
            theirs = results["flying edges", threads]
            for method in ("ours", "ours, plain"):
                ours = results[method, threads]
                print(f"flying edges / {method}, {threads} threads: "
                      f"wall {theirs['wall_s'] / ours['wall_s']:.2f}, "
                      f"cpu {theirs['cpu_s'] / ours['cpu_s']:.2f}; "
                      f"memory {method} / flying edges {ours['peak_kb'] / theirs['peak_kb']:.2f}")
        print(f"volume over that of the trilinear interpolation, {exact / 1000:.1f} cm³ "
              "(means nothing of an open mesh), and faults:")
        for method in methods:
            print(f"{method:<14}{meshes[method]}")
        known_bodies(run, folder)


if __name__ == "__main__":
    main()
