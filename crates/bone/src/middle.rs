//! About where the middle of a hip joint is: the point that the edges of bone
//! around it face.
//!
//! Head, shell and socket share one centre, so the normals of their edges pass
//! near it whatever lies between them. Works where the joint space is not
//! resolved; good to some mm, a start for the sphere's fit.

use pilothole_volume::{Direction, Offset, PatientPoint};
use rayon::prelude::*;

use crate::patch::Patch;

/// Distance from the centre at which edges count, mm: a head's shell has an
/// inner side, a socket's plate an outer one.
const EDGES_MM: [f64; 2] = [17.0, 32.0];
/// Distance between the places looked at, mm; gradients are taken over two.
const SPACING_MM: f64 = 1.5;
/// HU of a place that can be an edge of bone: above muscle, below metal.
const EDGE_HU: std::ops::Range<f32> = 100.0..1800.0;
/// Brighter than cortex seldom is, and than what blur and wide voxels leave of a
/// nail is not, HU.
const METAL_HU: f32 = 1800.0;
/// Least gradient of an edge, HU/mm.
const LEAST_EDGE: f64 = 30.0;
/// Edges count whose normals pass this near to the centre, mm, look by look.
const PASS_MM: [f64; 10] = [12.0, 11.0, 10.0, 9.0, 8.0, 7.0, 6.0, 5.0, 5.0, 5.0];
/// How far edges are gathered around the hint, mm.
const GATHER_MM: f64 = EDGES_MM[1] + 14.0;
/// Places looked at to each side of the hint.
const STEPS: i32 = (GATHER_MM / SPACING_MM) as i32;
/// Fewest edges that settle a centre.
const FEWEST_EDGES: usize = 200;

/// Where an edge is, and the direction in which HU rise.
type Edge = (PatientPoint, Direction);

/// The point around `hint` that edges of bone face; `None` where too few do.
pub(crate) fn middle_near(patch: &Patch<'_>, hint: PatientPoint) -> Option<PatientPoint> {
    let edges = edges_around(patch, hint);
    let mut centre = hint;
    let mut count = 0;
    for pass_mm in PASS_MM {
        let facing = edges.iter().filter(|(at, rise)| faces(*at, *rise, centre, pass_mm));
        let mut normal = Normal { rows: [Offset::ZERO; 3], right: Offset::ZERO, count: 0 };
        for (at, rise) in facing {
            normal.add(*rise, *at - centre);
        }
        count = normal.count;
        centre = centre + normal.solve()?;
    }
    (count >= FEWEST_EDGES).then_some(centre)
}

/// Whether something as bright as metal lies among the places looked at.
pub(crate) fn beside_metal(patch: &Patch<'_>, hint: PatientPoint) -> bool {
    // No sample is brighter than its brightest voxel.
    let some = patch.any_within(hint, GATHER_MM, |hu| f32::from(hu) > METAL_HU);
    let bright = |place| patch.sample(hint + from_hint(place)).is_some_and(|hu| hu > METAL_HU);
    some && (-STEPS..=STEPS).into_par_iter().any(|z| places(z, GATHER_MM).any(bright))
}

fn faces(at: PatientPoint, rise: Direction, centre: PatientPoint, pass_mm: f64) -> bool {
    let from = at - centre;
    let away = from.length_mm();
    let along = from.dot(rise.offset());
    away > EDGES_MM[0] && away < EDGES_MM[1] && away * away - along * along < pass_mm * pass_mm
}

fn edges_around(patch: &Patch<'_>, hint: PatientPoint) -> Vec<Edge> {
    let all = Looked::around(patch, hint);
    let edge = |place: [i32; 3]| {
        all.at(place).filter(|hu| EDGE_HU.contains(hu))?;
        let mut rise = [0.0; 3];
        for (axis, rise) in rise.iter_mut().enumerate() {
            let beside = |by: i32| {
                let mut to = place;
                to[axis] += by;
                all.at(to)
            };
            let (ahead, behind) = (beside(1)?, beside(-1)?);
            if ahead.max(behind) > EDGE_HU.end {
                return None;
            }
            *rise = f64::from(ahead - behind) / (2.0 * SPACING_MM);
        }
        let rise = Offset(rise);
        let strong = rise.length_mm() >= LEAST_EDGE;
        strong.then_some((hint + from_hint(place), Direction::along(rise)?))
    };
    let layer = |z: i32| places(z, GATHER_MM).filter_map(edge).collect::<Vec<_>>();
    (-STEPS..=STEPS).into_par_iter().map(layer).collect::<Vec<_>>().concat()
}

/// HU at the places looked at and those beside them.
struct Looked {
    hu: Vec<f32>,
}

impl Looked {
    /// Places to each side, with those beside.
    const REACH: i32 = STEPS + 1;
    const WIDTH: usize = 2 * Self::REACH as usize + 1;

    fn around(patch: &Patch<'_>, hint: PatientPoint) -> Self {
        let mut hu = vec![f32::NAN; Self::WIDTH.pow(3)];
        let layers = hu.par_chunks_mut(Self::WIDTH.pow(2));
        layers.enumerate().for_each(|(z, layer)| {
            let z = z as i32 - Self::REACH;
            for place in places(z, GATHER_MM + SPACING_MM) {
                let at = Self::position(place) % layer.len();
                layer[at] = patch.sample(hint + from_hint(place)).unwrap_or(f32::NAN);
            }
        });
        Self { hu }
    }

    /// HU at a place; `None` where nothing is known of it.
    fn at(&self, place: [i32; 3]) -> Option<f32> {
        Some(self.hu[Self::position(place)]).filter(|hu| !hu.is_nan())
    }

    fn position(place: [i32; 3]) -> usize {
        let [x, y, z] = place.map(|p| (p + Self::REACH) as usize);
        (z * Self::WIDTH + y) * Self::WIDTH + x
    }
}

/// One layer of the places within reach of the hint, in steps from it.
fn places(z: i32, reach_mm: f64) -> impl Iterator<Item = [i32; 3]> {
    let steps = (reach_mm / SPACING_MM) as i32;
    let square = (-steps..=steps).flat_map(move |y| (-steps..=steps).map(move |x| [x, y, z]));
    square.filter(move |place| from_hint(*place).length_mm() <= reach_mm)
}

fn from_hint(place: [i32; 3]) -> Offset {
    Offset(place.map(|c| f64::from(c) * SPACING_MM))
}

/// Normal equations of the point nearest to lines through `at` along `rise`.
struct Normal {
    rows: [Offset; 3],
    right: Offset,
    count: usize,
}

impl Normal {
    fn add(&mut self, rise: Direction, at: Offset) {
        let u = rise.offset();
        for (axis, row) in self.rows.iter_mut().enumerate() {
            let mut unit = Offset::ZERO;
            unit.0[axis] = 1.0;
            *row = *row + unit + u * -u.0[axis];
        }
        self.right = self.right + at + u * -at.dot(u);
        self.count += 1;
    }

    /// By Cramer's rule; `None` where the lines are parallel.
    fn solve(&self) -> Option<Offset> {
        let [a, b, c] = self.rows;
        let volume = a.dot(b.cross(c));
        let sum = b.cross(c) * self.right.0[0]
            + c.cross(a) * self.right.0[1]
            + a.cross(b) * self.right.0[2];
        // The trace is twice the number of lines; a thousandth of what lines of
        // all directions would give.
        let least = 1e-3 * (2.0 * self.count as f64 / 3.0).powi(3);
        (volume > least && volume > 0.0).then(|| sum * (1.0 / volume))
    }
}
