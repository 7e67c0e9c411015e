//! The average of a scene over each voxel's box.
//!
//! Blocks of voxels that no surface crosses are filled at once, others halved;
//! a voxel that a surface crosses is cut into cells, in each of which the surface counts as
//! the plane through its nearest point.

use pilothole_volume::{Offset, PatientPoint};

use crate::cover::share_inside;
use crate::scene::{Part, Scene};
use crate::solid::Distance;

/// Voxels along each edge of the largest block.
const BLOCK: usize = 8;
/// Length, mm, over which a surface's normal is taken.
const NORMAL_STEP_MM: f64 = 1e-4;

/// The parts whose surface may cross a place, topmost first, over one that
/// certainly fills it.
#[derive(Default)]
struct Pile<'a> {
    crossing: Vec<&'a Part>,
    base_hu: f64,
}

impl<'a> Pile<'a> {
    /// Keep what of `parts`, topmost first, matters within `radius_mm` of a
    /// point.
    fn gather(
        &mut self,
        parts: impl Iterator<Item = &'a Part>,
        base_hu: f64,
        at: PatientPoint,
        radius_mm: f64,
    ) {
        self.crossing.clear();
        self.base_hu = base_hu;
        for part in parts {
            let distance = part.solid.distance_mm(at, Distance::Bound);
            if distance < -radius_mm {
                self.base_hu = part.hu;
                return;
            }
            if distance <= radius_mm {
                self.crossing.push(part);
            }
        }
    }

    fn narrow(&mut self, wider: &Self, at: PatientPoint, radius_mm: f64) {
        self.gather(wider.crossing.iter().copied(), wider.base_hu, at, radius_mm);
    }
}

/// Paints boxes of voxels.
pub(super) struct Brush<'a, F> {
    pub(super) scene: &'a Scene,
    /// Edges of a voxel, mm.
    pub(super) edges: [Offset; 3],
    /// Cells along each edge of a voxel that a surface crosses.
    pub(super) fineness: usize,
    /// Centre of a voxel.
    pub(super) centre: &'a F,
}

impl<F: Fn([usize; 3]) -> PatientPoint> Brush<'_, F> {
    /// The averages of a box of `size` columns, rows, slices.
    pub(super) fn paint(&self, size: [usize; 3]) -> Vec<f32> {
        let mut out = vec![0.0; size.iter().product()];
        let everything = Pile {
            crossing: self.scene.parts.iter().rev().collect(),
            base_hu: self.scene.background_hu,
        };
        let mut canvas = Canvas { size, out: &mut out, part: Pile::default() };
        for slice in (0..size[2]).step_by(BLOCK) {
            for row in (0..size[1]).step_by(BLOCK) {
                for column in (0..size[0]).step_by(BLOCK) {
                    let from = [column, row, slice];
                    let to = std::array::from_fn(|i| (from[i] + BLOCK).min(size[i]));
                    self.block(from, to, &everything, &mut canvas);
                }
            }
        }
        out
    }

    /// Fill a block at once where no surface crosses it, else by its halves.
    fn block<'b>(
        &'b self,
        from: [usize; 3],
        to: [usize; 3],
        wider: &Pile<'b>,
        canvas: &mut Canvas<'_, 'b>,
    ) {
        let last = to.map(|n| n - 1);
        let first = (self.centre)(from);
        let centre = first + ((self.centre)(last) - first) * 0.5;
        let mut reach = radius_mm(self.edges);
        if from != last {
            let corner = |c: usize| {
                let pick = |i: usize| if c >> i & 1 == 1 { last[i] } else { from[i] };
                (self.centre)([pick(0), pick(1), pick(2)]).distance_mm(centre)
            };
            reach += (0..8).map(corner).fold(0.0, f64::max);
        }
        let mut pile = Pile::default();
        pile.narrow(wider, centre, reach);
        if pile.crossing.is_empty() {
            canvas.fill(from, to, pile.base_hu as f32);
            return;
        }
        if from == last {
            let hu = self.average(&pile, &mut canvas.part, centre);
            canvas.fill(from, to, hu as f32);
            return;
        }
        // Halve what is longest, so that blocks stay near cubes.
        let axis = (0..3).fold(0, |a, b| if to[b] - from[b] > to[a] - from[a] { b } else { a });
        let cut = from[axis].midpoint(to[axis]);
        let (mut end, mut begin) = (to, from);
        end[axis] = cut;
        begin[axis] = cut;
        self.block(from, end, &pile, canvas);
        self.block(begin, to, &pile, canvas);
    }

    /// The average over a voxel, cut into cells where surfaces cross it.
    fn average<'b>(&self, voxel: &Pile<'b>, part: &mut Pile<'b>, at: PatientPoint) -> f64 {
        if voxel.crossing.is_empty() {
            return voxel.base_hu;
        }
        let fineness = self.fineness;
        let n = fineness as f64;
        let cell = self.edges.map(|e| e * (1.0 / n));
        let reach = radius_mm(cell);
        let mut sum = 0.0;
        for i in 0..fineness.pow(3) {
            let place = [i % fineness, i / fineness % fineness, i / fineness / fineness];
            let shift = |i: usize| cell[i] * (place[i] as f64 + 0.5 - 0.5 * n);
            let centre = at + shift(0) + shift(1) + shift(2);
            part.narrow(voxel, centre, reach);
            sum += match part.crossing.len() {
                0 => part.base_hu,
                1 => layered(part, centre, cell),
                _ => finer(part, centre, cell),
            };
        }
        sum / n.powi(3)
    }
}

/// The voxels of a box, and room for the parts of one of them.
struct Canvas<'a, 'b> {
    size: [usize; 3],
    out: &'a mut [f32],
    part: Pile<'b>,
}

impl Canvas<'_, '_> {
    fn fill(&mut self, from: [usize; 3], to: [usize; 3], hu: f32) {
        for slice in from[2]..to[2] {
            for row in from[1]..to[1] {
                let start = (slice * self.size[1] + row) * self.size[0];
                self.out[start + from[0]..start + to[0]].fill(hu);
            }
        }
    }
}

/// Half the longest diagonal of a box, mm.
fn radius_mm(edges: [Offset; 3]) -> f64 {
    let [a, b, c] = edges;
    [a + b + c, a + b - c, a - b + c, b + c - a]
        .into_iter()
        .map(|d| 0.5 * d.length_mm())
        .fold(0.0, f64::max)
}

/// A cell that several surfaces cross, cut once more.
fn finer(pile: &Pile<'_>, at: PatientPoint, cell: [Offset; 3]) -> f64 {
    let third = cell.map(|e| e * (1.0 / 3.0));
    let mut sum = 0.0;
    for index in 0..27_u32 {
        let place = [index % 3, index / 3 % 3, index / 9].map(|p| f64::from(p) - 1.0);
        let centre = at + third[0] * place[0] + third[1] * place[1] + third[2] * place[2];
        sum += layered(pile, centre, third);
    }
    sum / 27.0
}

/// Each part's share of a cell, from the top down, as if the shares were spread
/// evenly; exact for one part.
fn layered(pile: &Pile<'_>, at: PatientPoint, cell: [Offset; 3]) -> f64 {
    let (mut sum, mut open) = (0.0, 1.0);
    for part in &pile.crossing {
        let share = share_of(part, at, cell);
        sum += open * share * part.hu;
        open *= 1.0 - share;
    }
    sum + open * pile.base_hu
}

/// The share of a cell that lies in a part, its surface taken as a plane.
fn share_of(part: &Part, at: PatientPoint, cell: [Offset; 3]) -> f64 {
    let distance = part.solid.distance_mm(at, Distance::Near);
    let slope = Offset(std::array::from_fn(|axis| {
        let mut step = Offset::ZERO;
        step.0[axis] = NORMAL_STEP_MM;
        part.solid.distance_mm(at + step, Distance::Near) - distance
    }));
    let length = slope.length_mm();
    if length < NORMAL_STEP_MM * 1e-3 {
        return f64::from(u8::from(distance <= 0.0));
    }
    share_inside(distance, cell.map(|e| e.dot(slope).abs() / length))
}
