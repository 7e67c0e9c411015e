"""The whole job as a script of today does it, beside `pilothole assess`.

Started by tests/peers/run, which says what it needs. The peers: SimpleITK
reads, thresholds at 226 HU, closes by 1 mm and fills; VTK's flying edges and
STL; SciPy samples each path's axis and thread, and 1,000 placements a hole
along the envelope. Ours: the whole of `assess`, report and pictures included.

Both run as processes of their own, in turn, each `--repeats` times; the table
shows the quickest run's seconds, its processor seconds, and the largest
resident memory of any run.
"""
import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
import tomllib
import zipfile

HOLES = 14
PLACEMENTS = 1000
ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
RECIPE = """name = "peers"
scene = "hip"
[grid]
spacing_mm = [0.8, 0.8, 1.0]
extent_mm = [409.6, 409.6, 400.0]
[bone]
cortex_mm = 2.0
cortex_hu = 1350.0
[scanner]
blur_mm = 0.55
noise_hu = 12.0
seed = 20
cells = 1
"""


def peers(series, plan, threads, out):
    """Run the peers' stages; the seconds of each."""
    import numpy as np
    import SimpleITK as sitk
    import vtk
    from scipy import ndimage
    from vtk.util import numpy_support

    sitk.ProcessObject.SetGlobalDefaultNumberOfThreads(threads)
    vtk.vtkSMPTools.SetBackend("STDThread")
    vtk.vtkSMPTools.Initialize(threads)
    seconds, clock = {}, time.perf_counter()

    def done(stage):
        nonlocal clock
        now = time.perf_counter()
        seconds[stage], clock = now - clock, now

    reader = sitk.ImageSeriesReader()
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(series))
    image = reader.Execute()
    done("read")
    spacing = np.array(image.GetSpacing())
    envelope = sitk.BinaryThreshold(image, 226, 32767, 1, 0)
    radius = [max(1, int(round(1.0 / s))) for s in spacing]
    envelope = sitk.BinaryMorphologicalClosing(envelope, radius)
    envelope = sitk.BinaryFillhole(envelope)
    done("envelope")
    mask = sitk.GetArrayViewFromImage(envelope)
    grid = vtk.vtkImageData()
    grid.SetDimensions(*image.GetSize())
    grid.SetSpacing(*spacing)
    grid.GetPointData().SetScalars(numpy_support.numpy_to_vtk(mask.ravel()))
    edges = vtk.vtkFlyingEdges3D()
    edges.SetInputData(grid)
    edges.SetValue(0, 0.5)
    edges.ComputeNormalsOff()
    writer = vtk.vtkSTLWriter()
    writer.SetInputConnection(edges.GetOutputPort())
    writer.SetFileTypeToBinary()
    writer.SetFileName(os.path.join(out, "bone.stl"))
    writer.Write()
    done("surface")
    hu = sitk.GetArrayViewFromImage(image)
    direction = np.array(image.GetDirection()).reshape(3, 3)
    to_index = np.linalg.inv(direction * spacing)
    origin = np.array(image.GetOrigin())

    def sample(array, points):
        index = (points - origin) @ to_index.T
        return ndimage.map_coordinates(array, index[..., ::-1].reshape(-1, 3).T, order=1,
                                       output=np.float32, mode="constant").reshape(points.shape[:-1])

    holes = [(np.array(h["seat_mm"]), np.array(h["direction"])) for h in plan["hole"]]
    along = np.arange(0, 80, 0.25)
    for seat, axis in holes:
        across = np.linalg.svd(axis[None])[2][1:]
        turns = np.arange(12) * np.pi / 6
        ring = np.cos(turns)[:, None] * across[0] + np.sin(turns)[:, None] * across[1]
        offsets = np.concatenate([np.zeros((1, 3)), 1.5 * ring, 2.6 * ring])
        points = seat + along[:, None, None] * axis + offsets
        sample(hu, points).mean(axis=1)
    done("paths")
    rng = np.random.default_rng(1)
    along = np.arange(0, 80, 0.5)
    for seat, axis in holes:
        seats = seat + rng.normal(0, 1.0, (PLACEMENTS, 3))
        axes = axis + rng.normal(0, np.radians(2.0), (PLACEMENTS, 3))
        axes /= np.linalg.norm(axes, axis=1)[:, None]
        inside = sample(mask, seats[:, None] + along[:, None] * axes[:, None]) > 0.5
        (0.5 * inside.sum(axis=1)).mean()
    done("placements")
    return seconds


def with_holes(text):
    """The plan with its holes repeated, under other names, until there are 14."""
    holes = ["[[hole]]" + block for block in text.split("[[hole]]")[1:]]
    tail = holes[-1].split("\n[[landmark]]", 1)
    holes[-1] = tail[0] + "\n"
    whole, extra = text, []
    for n in range(len(holes), HOLES):
        again = holes[n % len(holes)].split("\n[[")[0]
        name = tomllib.loads(again)["hole"][0]["id"]
        extra.append(again.replace(f'id = "{name}"', f'id = "{name} {n}"', 1) + "\n")
    return whole + "\n" + "\n".join(extra)


def run(command):
    """Seconds, processor seconds, peak MiB and output of a process."""
    clock = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    text = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        sys.exit(f"{os.path.basename(command[0])} ended with {process.returncode}")
    return {"wall_s": time.perf_counter() - clock, "cpu_s": usage.ru_utime + usage.ru_stime,
            "peak_mib": usage.ru_maxrss / 1024, "text": text}


def best(runs):
    found = dict(min(runs, key=lambda r: r["wall_s"]))
    found["peak_mib"] = max(r["peak_mib"] for r in runs)
    return found


def compare(name, series, plan, options, folder):
    text = with_holes(open(plan).read())
    plan = os.path.join(folder, "plan.toml")
    with open(plan, "w") as file:
        file.write(text)
    threads = str(options.threads)
    theirs = [sys.executable, __file__, "--peers", series, plan, folder, "--threads", threads]
    ours = [os.environ["PILOTHOLE"], "assess", series, plan, "--out", os.path.join(folder, "out"),
            "--replace", "--samples", str(PLACEMENTS), "--threads", threads, "--timeless"]
    all_theirs, all_ours = [], []
    for _ in range(options.repeats):
        all_theirs.append(run(theirs))
        all_ours.append(run(ours))
    theirs, ours = best(all_theirs), best(all_ours)
    stages = json.loads(theirs["text"].splitlines()[-1])
    print(f"\n### {name}, {len(tomllib.loads(text)['hole'])} holes, {threads} threads\n")
    print("| | s | processor s | peak MiB |\n|---|--:|--:|--:|")
    for stage, seconds in stages.items():
        print(f"| peers: {stage} | {seconds:.2f} | | |")
    for who, found in (("peers: whole process", theirs), ("pilothole assess, report included", ours)):
        print(f"| {who} | {found['wall_s']:.2f} | {found['cpu_s']:.2f} | {found['peak_mib']:.0f} |")
    print(f"| peers ÷ ours | {theirs['wall_s'] / ours['wall_s']:.2f} "
          f"| {theirs['cpu_s'] / ours['cpu_s']:.2f} | {theirs['peak_mib'] / ours['peak_mib']:.2f} |",
          flush=True)


def real_pelvis(folder):
    """The open scan's folder of slices, unpacked where it comes as an archive; None without it."""
    data = os.environ.get("PILOTHOLE_DATA", os.path.join(ROOT, "../shared/data"))
    real = os.path.join(data, "pelvis_native_3mm")
    archive = os.path.join(real, "series.zip")
    if os.path.isfile(archive):
        real = os.path.join(folder, "pelvis")
        zipfile.ZipFile(archive).extractall(real)
        real = next((at for at, _, files in os.walk(real) if files), None)
    return real if real and os.path.isdir(real) else None


def machine():
    with open("/proc/cpuinfo") as cpus:
        model = next((line.split(":")[1].strip() for line in cpus if "model name" in line), "unknown")
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return (f"{model}, {os.cpu_count()} cores, {memory:.0f} GiB, {platform.system()} "
            f"{platform.release().split('-')[0]}, load {os.getloadavg()[0]:.1f} at the start")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--plan", nargs=2, action="append", metavar=("PLAN", "SERIES"), default=[])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--threads", type=int, default=os.cpu_count())
    parser.add_argument("--peers", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.peers:
        series, plan, out = options.peers
        with open(plan, "rb") as file:
            print(json.dumps(peers(series, tomllib.load(file), options.threads, out)))
        return
    print(machine(), flush=True)
    with tempfile.TemporaryDirectory() as folder:
        cases = [(f"series {n + 1}", series, plan) for n, (plan, series) in enumerate(options.plan)]
        if not cases:
            recipe, made = os.path.join(folder, "recipe.toml"), os.path.join(folder, "phantom")
            with open(recipe, "w") as file:
                file.write(RECIPE)
            run([os.environ["PILOTHOLE"], "phantom", recipe, "--out", made])
            cases.append(("phantom of 512 x 512 x 400", os.path.join(made, "scan"),
                          os.path.join(made, "plan.toml")))
            real = real_pelvis(folder)
            if real:
                cases.append(("real pelvis, 512 x 512 x 163", real, os.path.join(
                    ROOT, "fixtures/plans/pelvis-native-left.toml")))
        for name, series, plan in cases:
            compare(name, series, plan, options, folder)


if __name__ == "__main__":
    main()
