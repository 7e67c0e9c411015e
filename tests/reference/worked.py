"""Makes fixtures/reference/worked.csv: values worked out from published formulas, apart from our code.

Usage: worked.py > fixtures/reference/worked.csv
No head; columns: claim, case, quantity, value, tag, source. Tags: confirmed (seen in an
opened text), derived (follows from a definition), memory (not seen in print).
A value of a formula that is from memory is derived from it and tagged memory.
"""

import math

import numpy as np

CHAPMAN = "Chapman JR et al. 1996 J Biomech Eng 118:391; ISO 5835 threads"
SCHILEO = "Schileo E et al. 2008 J Biomech 41:2483"
MURRAY = "Murray DW 1993 J Bone Joint Surg Br 75:228"
KABSCH = "Kabsch W 1976 Acta Cryst A32:922"
BOLTS = "elastic bolt group: direct shear and moment by distance; inputs AS 4100 example, Shigley"
STATICS = "statics of rigid bodies on springs"
HETENYI = "Hetenyi M 1946 Beams on elastic foundation"
VESIC = "Vesic AB 1961"
TREECE = "Gaussian blur of a plate; model of Treece GM et al. 2010 Med Image Anal 14:276"
WEIDLING = "Weidling M et al. 2022 Sci Rep 12:8051 Table 2"
NORMAL = "normal distribution"


def row(claim, case, quantity, value, tag, source):
    print(f"{claim},{case},{quantity},{value:.9g},{tag},{source.replace(',', ';')}")


def positions():
    """Equation C.7.6.2.1-1 of DICOM PS3.3 for slices and voxels."""
    tilt = math.radians(15)
    headers = [
        ("square", (56, 34.2, 1), (1, 0, 0, 0, 1, 0), (0.5, 0.5), (0, 0, 1)),
        ("oblique", (-100, -120, 50), (0.8, 0.6, 0, 0, 0, -1), (0.5, 0.75), (0.6, -0.8, 0)),
        ("real", (-158.135803, -179.035797, -75.699997), (1, 0, 0, 0, 1, 0), (0.661468, 0.661468), (0, 0, 5)),
        ("tilted", (-120, -130, 20), (1, 0, 0, 0, math.cos(tilt), -math.sin(tilt)), (0.7, 0.7), (0, 0, 2.5)),
    ]
    for case, origin, axes, (row_mm, column_mm), step in headers:
        for column, line, piece in [(0, 10, 0), (5, 5, 1), (10, 20, 2), (3, 5, 7)]:
            p = np.array(origin, float) + np.array(axes[:3]) * column_mm * column
            p = p + np.array(axes[3:]) * row_mm * line + np.array(step, float) * piece
            for axis in range(3):
                row("positions", f"{case} {column} {line} {piece}", "xyz"[axis], p[axis], "confirmed",
                    "DICOM PS3.3 equation C.7.6.2.1-1")


def threads():
    for name, major, core, pitch in [
        ("HA 3.5", 3.5, 2.4, 1.25), ("HA 4.5", 4.5, 3.0, 1.75), ("HB 4.0", 4.0, 1.9, 1.75), ("HB 6.5", 6.5, 3.0, 2.75),
    ]:
        factor = 0.5 + math.tan(math.radians(30)) * 0.5 * (major - core) / pitch
        row("thread", name, "shape factor", factor, "memory", CHAPMAN)
        row("thread", name, "shear mm", math.pi * major * factor, "memory", CHAPMAN)
        row("thread", name, "pull-out N at 4 MPa and 20 mm", 4 * 20 * math.pi * major * factor, "memory", CHAPMAN)
    factor = 0.5 + math.tan(math.radians(30)) * 1.75 / 2.75
    row("thread", "HB 6.5 layered", "pull-out N", math.pi * 6.5 * factor * (3 * 20 + 20 * 4 + 2 * 20), "memory", CHAPMAN)


def density():
    for qct in (0.05, 0.10, 0.20, 0.40):
        ash = 0.877 * qct + 0.0789
        apparent = ash / 0.6
        case = f"{qct:.2f} g/cm3 HA"
        row("density", case, "ash", ash, "memory", SCHILEO)
        row("density", case, "apparent", apparent, "confirmed", SCHILEO)
        row("density", case, "Stone shear MPa", 21.6 * apparent**1.65, "memory", "Stone JL et al. 1983 J Biomech 16:743")
        row("density", case, "Carter-Hayes compression MPa", 68 * 0.01**0.06 * apparent**2, "memory",
            "Carter DR and Hayes WC 1977 J Bone Joint Surg Am 59:954")
        row("density", case, "Keyak compression MPa", 102 * ash**1.80, "memory", "Keyak JH et al. 1998 J Biomech 31:125")
        row("density", case, "Keller compression MPa", 117 * ash**1.93, "memory", "Keller TS 1994 J Biomech 27:1159")
    slope, base = np.polyfit([60, 118, 236], [50, 100, 200], 1)
    row("calibration", "three inserts", "slope", slope, "derived", "least squares; inserts of the European Spine Phantom")
    row("calibration", "three inserts", "intercept", base, "derived", "least squares; inserts of the European Spine Phantom")


def foam():
    for name, major, core, pitch, newton in [
        ("ST1 6", 6.0, 3.65, 3.00, 870), ("ST1 7", 7.0, 4.04, 3.00, 931), ("ST2 6", 6.0, 3.86, 3.00, 855),
        ("ST2 7", 7.0, 3.94, 3.00, 923), ("ST3 6.2", 6.2, 4.36, 2.00, 965), ("ST3 7", 7.0, 5.03, 2.00, 1074),
        ("ST4 6.5", 6.5, 4.15, 4.00, 902), ("ST4 7.5", 7.5, 4.78, 4.00, 975), ("ST5 6.5", 6.5, 4.25, 2.75, 966),
        ("ST5 7.5", 7.5, 4.99, 2.75, 1072), ("ST6 6.5", 6.5, 4.45, 2.80, 858),
    ]:
        for quantity, value in [("major", major), ("core", core), ("pitch", pitch), ("newton", newton)]:
            row("foam", name, quantity, value, "confirmed", WEIDLING)


def angles():
    for ri, ra in [(40, 15), (45, 20), (30, 5), (50, 25)]:
        r, a = math.radians(ri), math.radians(ra)
        for quantity, value in [
            ("radiographic inclination", ri), ("radiographic anteversion", ra),
            ("operative inclination", math.degrees(math.asin(math.sin(r) * math.cos(a)))),
            ("operative anteversion", math.degrees(math.atan(math.tan(a) / math.cos(r)))),
            ("anatomical inclination", math.degrees(math.acos(math.cos(r) * math.cos(a)))),
            ("anatomical anteversion", math.degrees(math.atan(math.tan(a) / math.sin(r)))),
        ]:
            row("angles", f"{ri} {ra}", quantity, value, "derived", MURRAY)


def bolts():
    groups = {
        "six bolts": ([(-40, -70), (-40, 0), (-40, 70), (40, -70), (40, 0), (40, 70)], 120.0, 200.0),
        "four bolts": ([(75, 60), (-75, 60), (75, -60), (-75, -60)], 16.0, 425.0),
    }
    for case, (places, force, arm) in groups.items():
        polar = sum(x * x + y * y for x, y in places)
        for n, (x, y) in enumerate(places):
            moment = force * arm
            fx, fy = moment * y / polar, -force / len(places) - moment * x / polar
            row("load", case, f"bolt {n}", math.hypot(fx, fy), "derived", BOLTS)


def springs():
    places = [(0, 0), (100, 0), (0, 100)]
    system = np.array([[1, 1, 1], [p[0] for p in places], [p[1] for p in places]], float)
    for n, force in enumerate(np.linalg.solve(system, [1000, 20 * 1000, 30 * 1000])):
        row("load", "three springs", f"spring {n}", force, "derived", STATICS)
    for n, (x, y) in enumerate([(-40, -30), (40, -30), (40, 30), (-40, 30)]):
        row("load", "four springs", f"spring {n}", 250 * (1 + 10 * x / 1600 + 12 * y / 900), "derived", STATICS)
    axes = np.array([[0.35, 0.10, 0.93], [-0.20, 0.30, 0.93], [0.05, -0.95, 0.30], [-0.85, 0.15, 0.50]])
    axes /= np.linalg.norm(axes, axis=1)[:, None]
    seats = np.array([[12, 5, 26], [-10, 12, 25], [4, -27, 8], [-26, 3, 14]], float)
    whole, parts = np.zeros((6, 6)), []
    for seat, axis in zip(seats, axes):
        stiffness = 500 * np.eye(3) + 1500 * np.outer(axis, axis)
        skew = np.array([[0, -seat[2], seat[1]], [seat[2], 0, -seat[0]], [-seat[1], seat[0], 0]])
        lever = np.hstack([np.eye(3), -skew])
        whole += lever.T @ stiffness @ lever
        parts.append(stiffness @ lever)
    force = np.array([-45.2, 14.1, 233.0]) * 7.85
    motion = np.linalg.solve(whole, np.concatenate([force, np.zeros(3)]))
    for n, (part, axis) in enumerate(zip(parts, axes)):
        f = part @ motion
        row("load", "four oblique screws", f"axial {n}", abs(f @ axis), "derived", STATICS)
        row("load", "four oblique screws", f"lateral {n}", np.linalg.norm(f - axis * (f @ axis)), "derived", STATICS)
    for n in range(3):
        row("load", "four oblique screws", f"shift {'xyz'[n]}", motion[n], "derived", STATICS)


def beams():
    k, bending = 10.0, 2e13
    beta = (k / (4 * bending)) ** 0.25
    row("load", "infinite beam", "shift mm", 100_000 * beta / (2 * k), "confirmed", HETENYI)
    row("load", "infinite beam", "moment kN m", 100_000 / (4 * beta) / 1e6, "confirmed", HETENYI)
    row("load", "half-infinite beam", "shift share", 1, "derived", HETENYI)
    row("load", "half-infinite beam", "turn share", -1, "derived", HETENYI)
    row("load", "half-infinite beam", "moment share", math.exp(-math.pi / 4) * math.sin(math.pi / 4), "derived", HETENYI)
    row("load", "short rigid beam", "shift per N", 4 / (100 * 20), "derived", HETENYI)
    value = 0.65 * (10 * 3000**4 / (30_620 * 3125e7)) ** (1 / 12) * 10 / (1 - 0.3**2)
    row("load", "foundation", "N per mm2 of 3 m in Pa/m", value / 3000 * 1e6, "confirmed", VESIC)


def registration():
    four = np.array([[0, 0, 0], [100, 0, 0], [0, 60, 0], [0, 0, 40]], float)
    s, c = math.sin(math.radians(30)), math.cos(math.radians(30))
    moved = four @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]).T + [5, -7, 11]
    off = moved.copy()
    off[3, 2] += 4
    for case, partners in [("exact", moved), ("one off by 4 mm", off), ("mirrored", four * [-1, 1, 1])]:
        a, b = four - four.mean(0), partners - partners.mean(0)
        u, _, vt = np.linalg.svd(a.T @ b)
        d = np.sign(np.linalg.det(vt.T @ u.T))
        turn = vt.T @ np.diag([1, 1, d]) @ u.T
        rms = math.sqrt((((a @ turn.T) - b) ** 2).sum() / 4)
        row("registration", case, "rms mm", rms if rms > 1e-9 else 0, "derived", KABSCH)
        if case != "mirrored":
            angle = math.degrees(math.acos((np.trace(turn) - 1) / 2))
            row("registration", case, "angle deg", angle, "derived", KABSCH)


def plates():
    for sigma, thickness in [(0.5, 0.5), (0.5, 1), (0.5, 1.5), (0.5, 2), (0.5, 3), (0.8, 1), (0.8, 1.5), (0.8, 2), (0.8, 3)]:
        peak = math.erf(thickness / (2 * math.sqrt(2) * sigma))
        row("cortex", f"plate {thickness} blur {sigma}", "peak share", peak, "derived", TREECE)


def shares():
    def below(x):
        return 0.5 * (1 + math.erf(x / math.sqrt(2)))

    for half, shift in [(5.0, 1.5), (6.5, 1.5), (4.0, 1.0)]:
        row("robust", f"plate {half} shift {shift}", "share", 2 * below((half - 3.25) / shift) - 1, "derived", NORMAL)


def published():
    """Figures of others that ours stand beside."""
    treece = "Treece GM et al. 2010 Med Image Anal 14:276"
    for case, bias, spread in [("threshold", 0.25, 0.69), ("halfway", 0.90, 0.92), ("model", -0.01, 0.58)]:
        row("published", f"cortex by {case}", "bias mm", bias, "confirmed", treece)
        row("published", f"cortex by {case}", "spread mm", spread, "confirmed", treece)
    row("published", "depth gauge", "right size %", 52, "confirmed", "Eur J Trauma Emerg Surg 2025;51:360")
    for case, share in [("senior", 57.0), ("mid", 42.2), ("junior", 31.5), ("angled hole", 33.3)]:
        row("published", f"surgeon {case}", "right size %", share, "confirmed", "Liu P 2022 Front Surg 8:774682")
    roof = "Boomsma MF et al. CT bone stock beside large-head metal-on-metal hips"
    for case, median, low, high in [("prosthesis side", 123.3, 7.6, 375.4), ("other side", 144.7, -0.4, 332.8)]:
        for quantity, value in [("median HU", median), ("least HU", low), ("most HU", high)]:
            row("published", f"roof {case}", quantity, value, "confirmed", roof)
    for quantity, value in [("least mm", 0.7), ("mean mm", 1.5), ("most mm", 3.2)]:
        row("published", "pelvic cortex", quantity, value, "memory", "Anderson AE 2005")
    row("published", "safe depth back and up", "mean mm", 49.8, "confirmed", "Park JY et al. 2021 J Arthroplasty 36:744")


if __name__ == "__main__":
    for part in (positions, threads, density, foam, angles, bolts, springs, beams, registration, plates, shares, published):
        part()
