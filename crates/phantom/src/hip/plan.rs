//! The demo's plan: fourteen holes that have something to say.

use pilothole_plan::{LandmarkKind, LandmarkName, Side};
use pilothole_volume::{Direction, Offset, PatientPoint};

use super::{HALF_WIDTH_MM, bones};
use crate::draft::{HoleDraft, PlanDraft};
use crate::scene::Scene;

/// From the socket's centre to where a cup screw's head seats, mm.
const CUP_SEAT_MM: f64 = 27.5;
/// Metal between a flange screw's seat and the bone, mm.
const FLANGE_MM: f64 = 3.0;

const TABLES: &str = "[policy]
far_cortex = \"stop-short\"
margin_mm = 2.0
side_margin_mm = 1.0
screw_gap_mm = 1.0

[[screw]]
name = \"HB 6.5\"
stocked_lengths_mm = [20, 25, 30, 35, 40, 45, 50, 55, 60]
";

/// Where a hole begins.
enum From {
    /// On the cup, seen from its centre.
    Cup([f64; 3]),
    /// On a flange: the path goes through this place, relative to the hip
    /// centre, and its seat lies before the bone there.
    Flange([f64; 3]),
}

/// A hole in short.
struct Line {
    id: &'static str,
    region: &'static str,
    from: From,
    direction: [f64; 3],
    screw: &'static str,
    length_mm: Option<f64>,
    swivel_deg: f64,
}

/// A cup hole, for a 6.5 mm screw.
fn cup(
    (id, region): (&'static str, &'static str),
    out: [f64; 3],
    direction: [f64; 3],
    length_mm: Option<f64>,
) -> Line {
    let (from, screw, swivel_deg) = (From::Cup(out), "HB 6.5", 12.0);
    Line { id, region, from, direction, screw, length_mm, swivel_deg }
}

/// A flange hole, for a 5 mm screw.
fn flange(
    (id, region): (&'static str, &'static str),
    through: [f64; 3],
    direction: [f64; 3],
    length_mm: Option<f64>,
) -> Line {
    let (from, screw, swivel_deg) = (From::Flange(through), "HA 5.0", 6.0);
    Line { id, region, from, direction, screw, length_mm, swivel_deg }
}

fn lines() -> Vec<Line> {
    let (ilium, ischium, pubis) = ("ilium", "ischium", "pubis");
    vec![
        cup(("dome back", ilium), [-0.30, 0.48, 0.82], [-0.38, 0.60, 0.70], Some(50.0)),
        cup(("dome mid", ilium), [0.02, 0.14, 0.99], [0.03, 0.10, 0.99], Some(40.0)),
        cup(("dome front", ilium), [0.04, -0.22, 0.97], [0.08, -0.04, 0.99], Some(45.0)),
        cup(("dome side", ilium), [-0.25, 0.25, 0.93], [0.20, 0.32, 0.92], None),
        Line {
            screw: "HA 5.0",
            ..cup(("column", ischium), [-0.40, 0.88, 0.12], [-0.35, 0.93, 0.10], None)
        },
        cup(("seat bone", ischium), [-0.24, 0.66, -0.70], [-0.06, 0.62, -0.78], Some(35.0)),
        Line {
            swivel_deg: 0.0,
            ..cup(("inner wall", ischium), [-0.97, -0.05, 0.10], [-0.98, -0.05, 0.10], Some(20.0))
        },
        cup(("branch", pubis), [-0.44, -0.87, -0.20], [-0.64, -0.72, -0.28], None),
        flange(("wing 1", ilium), [18.0, -29.0, 40.0], [-0.85, -0.25, 0.46], Some(26.0)),
        flange(("wing 2", ilium), [12.0, -8.0, 60.0], [-0.80, -0.55, 0.22], None),
        flange(("wing 3", ilium), [17.0, -6.0, 82.0], [-0.09, -0.22, 0.97], Some(40.0)),
        Line {
            screw: "HA 4.5",
            swivel_deg: 0.0,
            ..flange(("tuber 1", ischium), [-9.0, 18.0, -34.0], [-0.88, 0.10, -0.46], None)
        },
        flange(("tuber 2", ischium), [-16.0, 30.0, -60.0], [-0.80, 0.20, -0.56], Some(30.0)),
        Line {
            screw: "HA 4.5",
            swivel_deg: 0.0,
            ..flange(("pubis", pubis), [-53.0, -49.5, -22.5], [-0.70, 0.55, 0.45], Some(18.0))
        },
    ]
}

pub(super) fn draft(scene: &Scene) -> PlanDraft {
    let centre = bones::worn_centre();
    let axis = along([0.68, -0.30, -0.67]);
    let holes = lines().iter().map(|line| hole(scene, centre, line)).collect();
    PlanDraft {
        side: Side::Left,
        centre,
        axis,
        outer_diameter_mm: 2.0 * (bones::WORN_RADIUS_MM - 1.0),
        approach: Some(along([0.80, 0.25, -0.55])),
        body_mass_kg: Some(74.0),
        tables: TABLES.to_owned(),
        inserts: Vec::new(),
        holes,
        landmarks: landmarks(),
    }
}

fn along(of: [f64; 3]) -> Direction {
    Direction::along(Offset(of)).unwrap_or(Direction::SUPERIOR)
}

fn near(of: [f64; 3]) -> PatientPoint {
    PatientPoint([HALF_WIDTH_MM + of[0], of[1], of[2]])
}

fn hole(scene: &Scene, centre: PatientPoint, line: &Line) -> HoleDraft {
    let direction = along(line.direction);
    let (zone, seat) = match line.from {
        From::Cup(out) => ("cup", centre + along(out) * CUP_SEAT_MM),
        From::Flange(through) => ("flange", before_bone(scene, near(through), direction)),
    };
    HoleDraft {
        id: line.id.to_owned(),
        zone,
        region: Some(line.region),
        seat,
        direction,
        screw: line.screw.to_owned(),
        length_mm: line.length_mm,
        swivel_deg: line.swivel_deg,
    }
}

/// The place on a line where a flange on the bone at, or next after, `through`
/// would seat a head.
fn before_bone(scene: &Scene, through: PatientPoint, direction: Direction) -> PatientPoint {
    const BACK_MM: f64 = 60.0;
    let start = through + direction * -BACK_MM;
    let bone = scene.bone_along(start, direction, 2.0 * BACK_MM);
    let first = bone.iter().find(|(_, to)| *to > BACK_MM).map_or(BACK_MM, |(from, _)| *from);
    start + direction * (first - FLANGE_MM)
}

fn landmarks() -> Vec<(LandmarkName, PatientPoint)> {
    let left: [(LandmarkKind, [f64; 3]); 6] = [
        (LandmarkKind::Asis, [44.0, -52.5, 73.0]),
        (LandmarkKind::PubicTubercle, [-60.0, -62.0, -26.0]),
        (LandmarkKind::HipCentre, [0.0, 0.0, 0.0]),
        (LandmarkKind::LesserTrochanter, [18.0, 24.0, -52.0]),
        (LandmarkKind::Teardrop, [-33.0, -8.0, -24.0]),
        (LandmarkKind::IschialTuberosity, [-19.0, 34.0, -80.0]),
    ];
    left.into_iter()
        .flat_map(|(kind, of)| {
            Side::ALL.map(|side| {
                let PatientPoint([x, y, z]) = near(of);
                let sign = if side == Side::Left { 1.0 } else { -1.0 };
                (LandmarkName { kind, side }, PatientPoint([sign * x, y, z]))
            })
        })
        .collect()
}
