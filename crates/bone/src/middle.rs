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
/// Distance between the places looked at, mm.
const SPACING_MM: f64 = 1.5;
/// Half the distance over which a gradient is taken, mm.
const GRADIENT_MM: f64 = 1.5;
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
    let bright = |offset: &Offset| patch.sample(hint + *offset).is_some_and(|hu| hu > METAL_HU);
    (-STEPS..=STEPS).into_par_iter().any(|z| places(z).any(|offset| bright(&offset)))
}

fn faces(at: PatientPoint, rise: Direction, centre: PatientPoint, pass_mm: f64) -> bool {
    let from = at - centre;
    let away = from.length_mm();
    let along = from.dot(rise.offset());
    away > EDGES_MM[0] && away < EDGES_MM[1] && away * away - along * along < pass_mm * pass_mm
}

fn edges_around(patch: &Patch<'_>, hint: PatientPoint) -> Vec<Edge> {
    let edge = |offset: Offset| {
        let at = hint + offset;
        patch.sample(at).filter(|hu| EDGE_HU.contains(hu))?;
        let mut rise = [0.0; 3];
        for (axis, rise) in rise.iter_mut().enumerate() {
            let mut by = [0.0; 3];
            by[axis] = GRADIENT_MM;
            let (ahead, behind) = (at + Offset(by), at + Offset(by.map(|c| -c)));
            let (ahead, behind) = (patch.sample(ahead)?, patch.sample(behind)?);
            if ahead.max(behind) > EDGE_HU.end {
                return None;
            }
            *rise = f64::from(ahead - behind) / (2.0 * GRADIENT_MM);
        }
        let rise = Offset(rise);
        (rise.length_mm() >= LEAST_EDGE).then_some((at, Direction::along(rise)?))
    };
    let layer = |z: i32| places(z).filter_map(edge).collect::<Vec<_>>();
    (-STEPS..=STEPS).into_par_iter().map(layer).collect::<Vec<_>>().concat()
}

/// One layer of the places looked at, from the hint.
fn places(z: i32) -> impl Iterator<Item = Offset> {
    let square = (-STEPS..=STEPS).flat_map(|y| (-STEPS..=STEPS).map(move |x| [x, y]));
    let offsets = square.map(move |[x, y]| Offset([x, y, z].map(|c| f64::from(c) * SPACING_MM)));
    offsets.filter(|offset| offset.length_mm() <= GATHER_MM)
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
