//! A made hip: bone around a socket, a plan, and what is known of its holes.
//!
//! Everything is made in a canonical frame and placed in the patient by a
//! rigid motion or a reflection, so that the voxels are the same numbers
//! wherever the hip lies.
#![allow(dead_code, reason = "every test file uses its own part of it")]
#![allow(clippy::allow_attributes, reason = "what is unused differs by test file")]

use std::fmt::Write as _;

use pilothole_assess::{
    Edge, EdgeRule, Grade, HoleResult, Profile, Pullout, Scene, Segment, Tissue,
};
use pilothole_plan::{Format, Plan, Side};
use pilothole_volume::{
    Direction, Field, Grid, Labels, Mask, Offset, PatientPoint, Volume, Voxels,
};

/// Radius of the socket, mm; its centre is the canonical origin.
pub(crate) const SOCKET_MM: f64 = 29.0;
/// Half the width of the made scan, mm.
pub(crate) const HALF_MM: f64 = 90.0;

/// A rigid motion, or a reflection across the patient's midline followed by
/// one.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placing {
    /// Images of the canonical axes.
    pub axes: [[f64; 3]; 3],
    pub shift: [f64; 3],
    pub mirrored: bool,
}

impl Placing {
    pub(crate) const HOME: Self = Self {
        axes: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        shift: [0.0; 3],
        mirrored: false,
    };

    /// Turned about an axis, then shifted.
    pub(crate) fn turned(axis: [f64; 3], angle_rad: f64, shift: [f64; 3]) -> Self {
        let u = unit(axis).components();
        let (s, c) = angle_rad.sin_cos();
        let axes = std::array::from_fn(|column| {
            let mut e = [0.0; 3];
            e[column] = 1.0;
            let along = u[column];
            let cross =
                [u[1] * e[2] - u[2] * e[1], u[2] * e[0] - u[0] * e[2], u[0] * e[1] - u[1] * e[0]];
            std::array::from_fn(|i| c * e[i] + s * cross[i] + (1.0 - c) * along * u[i])
        });
        Self { axes, shift, mirrored: false }
    }

    /// Left and right swapped.
    pub(crate) fn mirror() -> Self {
        Self {
            axes: [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            shift: [3.0, 0.0, 0.0],
            mirrored: true,
        }
    }

    pub(crate) fn vector(&self, v: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|i| (0..3).map(|j| self.axes[j][i] * v[j]).sum())
    }

    pub(crate) fn point(&self, p: [f64; 3]) -> PatientPoint {
        let v = self.vector(p);
        PatientPoint(std::array::from_fn(|i| v[i] + self.shift[i]))
    }

    pub(crate) fn direction(&self, d: Direction) -> Direction {
        unit(self.vector(d.components()))
    }
}

pub(crate) fn unit(v: [f64; 3]) -> Direction {
    Direction::along(Offset(v)).expect("has length")
}

/// The made scan and its masks.
#[derive(Debug)]
pub(crate) struct World {
    pub volume: Volume,
    pub field: Field,
    pub labels: Labels,
    pub metal: Mask,
    pub none: Mask,
    /// Depth in bone (mm), label, HU at a canonical point.
    pub made: fn([f64; 3]) -> Voxel,
}

/// What a canonical point is made of.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Voxel {
    pub depth_mm: f64,
    pub label: u8,
    pub hu: f64,
    pub metal: bool,
}

impl World {
    pub(crate) fn make(made: fn([f64; 3]) -> Voxel, placing: &Placing, step_mm: f64) -> Self {
        let count = (2.0 * HALF_MM / step_mm) as usize + 1;
        let steps = std::array::from_fn(|i| {
            let mut e = [0.0; 3];
            e[i] = step_mm;
            Offset(placing.vector(e))
        });
        let origin = placing.point([-HALF_MM; 3]);
        let grid = Grid::new([count; 3], origin, steps).expect("spans");
        let mut depth = Vec::with_capacity(count.pow(3));
        let mut label = Vec::with_capacity(count.pow(3));
        let mut hu = Vec::with_capacity(count.pow(3));
        let mut metal = Mask::none([count; 3]);
        for index in 0..count.pow(3) {
            let index = [index % count, index / count % count, index / (count * count)];
            let voxel = made(index.map(|n| n as f64 * step_mm - HALF_MM));
            depth.push(voxel.depth_mm as f32);
            label.push(if voxel.depth_mm > 0.0 { voxel.label } else { 0 });
            hu.push(voxel.hu as f32);
            if voxel.metal {
                metal.set(index, true);
            }
        }
        Self {
            volume: Volume::new(grid.clone(), Voxels::F32(hu), None).expect("fits"),
            field: Field::new(grid, depth).expect("fits"),
            labels: Labels::new([count; 3], label).expect("fits"),
            metal,
            none: Mask::none([count; 3]),
            made,
        }
    }

    pub(crate) fn scene(&self) -> Scene<'_> {
        Scene {
            volume: &self.volume,
            field: &self.field,
            labels: &self.labels,
            metal: &self.metal,
            cement: &self.none,
            untrusted: &self.metal,
            threshold_hu: 226.0,
            cortex: None,
        }
    }
}

/// Out of the socket's mouth, canonical, left hip.
pub(crate) const AXIS: [f64; 3] = [0.62, -0.30, -0.725];

/// Bone around the socket, muscle, skin 80 mm out along the axis, air beyond.
pub(crate) fn plain(at: [f64; 3]) -> Voxel {
    let axis = unit(AXIS).components();
    let radius = at.iter().map(|c| c * c).sum::<f64>().sqrt();
    let out: f64 = (0..3).map(|i| at[i] * axis[i]).sum();
    let depth_mm = (radius - SOCKET_MM).min(70.0 - radius).min(5.0 - out);
    let hu = if depth_mm > 0.0 {
        300.0 + 2.0 * at[2] + at[0]
    } else if out > 55.0 {
        -1000.0
    } else {
        50.0
    };
    Voxel { depth_mm, label: 1, hu, metal: false }
}

/// One hole, canonical.
#[derive(Clone, Copy, Debug)]
pub(crate) struct MadeHole {
    pub seat: [f64; 3],
    pub direction: [f64; 3],
    pub zone: &'static str,
    pub region: &'static str,
    pub length_mm: f64,
}

/// A hole of the cup, tilted off the pole and turned about the axis, degrees.
pub(crate) fn cup_hole(tilt_deg: f64, azimuth_deg: f64, region: &'static str) -> MadeHole {
    let pole = -unit(AXIS);
    let d = pole.tilted(tilt_deg.to_radians(), azimuth_deg.to_radians()).components();
    MadeHole { seat: d.map(|c| c * SOCKET_MM), direction: d, zone: "cup", region, length_mm: 30.0 }
}

/// Names and canonical places of landmarks, left hip operated.
pub(crate) const LANDMARKS: [(&str, [f64; 3]); 12] = [
    ("asis-left", [28.0, -55.0, 75.0]),
    ("asis-right", [-212.0, -55.0, 75.0]),
    ("pubic-tubercle-left", [-68.0, -60.0, -15.0]),
    ("pubic-tubercle-right", [-116.0, -60.0, -15.0]),
    ("hip-centre-left", [-1.0, 1.0, 4.0]),
    ("hip-centre-right", [-181.0, 0.0, 3.0]),
    ("lesser-trochanter-left", [20.0, 15.0, -55.0]),
    ("lesser-trochanter-right", [-203.0, 14.0, -61.0]),
    ("teardrop-left", [-40.0, 0.0, -25.0]),
    ("teardrop-right", [-144.0, 0.0, -25.0]),
    ("ischial-tuberosity-left", [-30.0, 40.0, -70.0]),
    ("ischial-tuberosity-right", [-154.0, 40.0, -70.0]),
];

/// A plan in the canonical frame as text; `extra` goes before the holes.
pub(crate) fn plan_text(holes: &[MadeHole], extra: &str, landmarks: bool) -> String {
    let axis = unit(AXIS).components();
    let mut text = format!(
        "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n{extra}\n\
         [socket]\ncentre_mm = [0.0, 0.0, 0.0]\naxis = {axis:?}\nouter_diameter_mm = 58.0\n"
    );
    for (i, hole) in holes.iter().enumerate() {
        writeln!(
            text,
            "[[hole]]\nid = \"h{i}\"\nzone = \"{}\"\nregion = \"{}\"\nseat_mm = {:?}\n\
             direction = {:?}\nscrew = \"HB 6.5\"\nlength_mm = {:?}\nswivel_deg = 10.0",
            hole.zone,
            hole.region,
            hole.seat,
            unit(hole.direction).components(),
            hole.length_mm
        )
        .expect("a string takes it");
    }
    if landmarks {
        for (name, at) in LANDMARKS {
            writeln!(text, "[[landmark]]\nname = \"{name}\"\nat_mm = {at:?}")
                .expect("a string takes it");
        }
    }
    text
}

/// Top-level tables that most tests want.
pub(crate) const USUAL: &str = "[load]\nbody_mass_kg = 80.0\n[approach]\naxis = [0.62, -0.30, -0.7250]\n\
    half_angle_deg = 60.0\ndrill_length_mm = 100.0\ndrill_radius_mm = 5.0\n";

/// A plan placed in the patient.
pub(crate) fn plan(holes: &[MadeHole], extra: &str, landmarks: bool, placing: &Placing) -> Plan {
    let extra = extra.replace("[0.62, -0.30, -0.7250]", &format!("{:?}", unit(AXIS).components()));
    let text = plan_text(holes, &extra, landmarks);
    let mut plan = Plan::parse(&text, Format::Toml).unwrap_or_else(|e| panic!("{e:?}\n{text}"));
    plan.socket.centre = placing.point(plan.socket.centre.0);
    plan.socket.axis = placing.direction(plan.socket.axis);
    if let Some(approach) = &mut plan.approach {
        approach.axis = placing.direction(approach.axis);
    }
    for hole in &mut plan.holes {
        hole.seat = placing.point(hole.seat.0);
        hole.direction = placing.direction(hole.direction);
    }
    for landmark in &mut plan.landmarks {
        landmark.at = placing.point(landmark.at.0);
        if placing.mirrored {
            landmark.name.side = landmark.name.side.other();
        }
    }
    if placing.mirrored {
        plan.side = match plan.side {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
        };
    }
    plan
}

/// What is known of each hole: bone from the seat to the tip and beyond.
pub(crate) fn results(plan: &Plan) -> Vec<HoleResult> {
    plan.holes
        .iter()
        .enumerate()
        .map(|(index, hole)| {
            let length_mm = hole.length_mm;
            let edge = |at_mm: f64| Edge {
                at_mm,
                rule: EdgeRule::Halfway,
                se_mm: None,
                most_off_mm: None,
                cortex_mm: None,
                width_mm: None,
                cortex_se_mm: None,
                peak_hu: None,
                incidence_rad: Some(0.1),
            };
            let estimate = 30.0 * length_mm.unwrap_or(0.0);
            HoleResult {
                hole: index,
                stream: hole.stream(),
                seat: hole.seat,
                direction: hole.direction,
                bone: Some(1),
                near: Some(edge(0.0)),
                far: Some(edge(41.0)),
                length_mm,
                purchase_mm: length_mm.unwrap_or(0.0),
                planned_purchase_mm: length_mm,
                engaged_mm: length_mm.unwrap_or(0.0),
                hu: None,
                segments: vec![Segment { from_mm: 0.0, to_mm: 41.0, tissue: Tissue::Cancellous }],
                cortices: 1,
                side_wall_mm: None,
                side_wall_at_mm: None,
                beyond: pilothole_assess::Beyond::default(),
                pullout: Some(Pullout {
                    estimate_n: estimate,
                    low_n: 0.5 * estimate,
                    high_n: 2.0 * estimate,
                    method: "made".to_owned(),
                    shares: Vec::new(),
                    other_laws: Vec::new(),
                }),
                robust: None,
                grade: Grade::Fair,
                reasons: Vec::new(),
                trust: Some(1.0),
                profile: Profile { from_mm: 0.0, step_mm: 1.0, hu: Vec::new() },
                findings: Vec::new(),
            }
        })
        .collect()
}
