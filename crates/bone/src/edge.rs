//! Where the envelope's surface lies, to a fraction of a voxel: halfway between
//! the cortex's peak and what lies outside it.
//!
//! A threshold puts a blurred edge too far out. Seen along each lattice line
//! that crosses the surface, the level is the mean of the greatest HU within
//! 3 mm inside and the least within 3 mm outside; voxels outside the level are
//! peeled off, voxels inside it are added, and the crossing is placed by
//! linear interpolation. Where no cortex shows, the boundary stays where the
//! enclosure put it, midway between two voxels.

use pilothole_volume::Numbers;
use rayon::prelude::*;

use crate::gathered::{Gathered, marked};
use crate::patch::Patch;

/// How far the peak and the outside level are looked for, mm.
const LOOK_MM: f64 = 3.0;
/// Peaks count no more than this, HU: metal beside bone is not its cortex.
const PEAK_CAP_HU: f32 = 1800.0;
/// Least rise from outside to peak that counts as a cortex, HU.
const LEAST_RISE_HU: f32 = 60.0;
/// Deepest peel and highest growth, mm; a 1400 HU cortex in muscle blurred by
/// 0.9 mm crosses 226 HU 1.0 mm outside its edge.
const MOST_MOVE_MM: f64 = 1.6;
/// What lies between two bones, HU: cartilage, fluid, muscle (40 to 110).
const BETWEEN_HU: f32 = 60.0;
/// Field values are held to this range to each side, mm.
pub(crate) const FIELD_LIMIT_MM: f32 = 2.0;
/// The same in steps, two bytes a voxel: a step is a tenth of a micrometre.
const FIELD_LIMIT: i16 = 20_000;
const FIELD_STEP_MM: f32 = FIELD_LIMIT_MM / FIELD_LIMIT as f32;
/// The field's numbers count from far outside: that is 0, the surface here.
const AT_SURFACE: u16 = FIELD_LIMIT as u16;
/// Deep in a bone.
const DEEP: u16 = 2 * AT_SURFACE;

/// A signed distance as the field's number, mm in; its sign is kept.
fn number_of(distance_mm: f32) -> u16 {
    let steps = (distance_mm / FIELD_STEP_MM).round() as i16;
    let steps =
        if distance_mm < 0.0 { steps.clamp(-FIELD_LIMIT, -1) } else { steps.clamp(1, FIELD_LIMIT) };
    AT_SURFACE.wrapping_add_signed(steps)
}

/// The number of a distance on the side of the surface on which another lies.
fn on_the_side_of(number: u16, distance_mm: f32) -> u16 {
    number_of(if number > AT_SURFACE { distance_mm } else { -distance_mm })
}

/// Whether a number of the field is that of a place whose distance is not known
/// or beyond its range.
fn is_far(number: u16) -> bool {
    number == 0 || number == DEEP
}

/// The labels' edge against the outside, at work.
pub(crate) struct Edge<'a> {
    patch: &'a Patch<'a>,
    /// Least HU of a voxel that may be peeled or added.
    weak_hu: f32,
    look: [usize; 3],
    spacing: [f32; 3],
    strides: [isize; 3],
}

/// One of the six faces of a voxel.
#[derive(Clone, Copy)]
struct Face {
    axis: usize,
    outward: isize,
}

const FACES: [Face; 6] = [
    Face { axis: 0, outward: -1 },
    Face { axis: 0, outward: 1 },
    Face { axis: 1, outward: -1 },
    Face { axis: 1, outward: 1 },
    Face { axis: 2, outward: -1 },
    Face { axis: 2, outward: 1 },
];

impl<'a> Edge<'a> {
    pub(crate) fn new(patch: &'a Patch<'a>, weak_hu: f64) -> Self {
        Self {
            patch,
            weak_hu: weak_hu as f32,
            look: patch.spacing_mm.map(|s| (LOOK_MM / s).floor().max(1.0) as usize),
            spacing: patch.spacing_mm.map(|s| s as f32),
            strides: patch.strides().map(|s| s as isize),
        }
    }

    /// Move the labels' edge to the halfway level.
    pub(crate) fn settle(&self, labels: &mut [u8]) {
        let finest = self.patch.finest_mm();
        let rounds = (MOST_MOVE_MM / finest).ceil() as usize;
        let beside = self.beside_another(labels);
        self.move_edge(labels, &beside, rounds, |labels, at, index| self.peels(labels, at, index));
        let beside = self.beside_another(labels);
        self.move_edge(labels, &beside, rounds, |labels, at, index| self.joins(labels, at, index));
    }

    /// Rounds of changes; each looks where the one before changed something.
    fn move_edge(
        &self,
        labels: &mut [u8],
        start: &[u32],
        rounds: usize,
        change: impl Fn(&[u8], usize, [usize; 3]) -> Option<u8> + Sync,
    ) {
        let mut front = start.to_vec();
        for _ in 0..rounds {
            let changes: Vec<(u32, u8)> = front
                .par_iter()
                .filter_map(|at| {
                    let place = *at as usize;
                    Some((*at, change(labels, place, self.patch.index(place))?))
                })
                .collect();
            for (at, label) in &changes {
                labels[*at as usize] = *label;
            }
            front = self.around(changes.par_iter().map(|(at, _)| *at), |_| true);
        }
    }

    /// The voxels across a face of some that pass a test, rising.
    fn around(
        &self,
        some: impl ParallelIterator<Item = u32>,
        test: impl Fn(usize) -> bool + Sync,
    ) -> Vec<u32> {
        let found = Gathered::none(self.patch.len());
        some.for_each(|at| {
            let index = self.patch.index(at as usize);
            FACES
                .iter()
                .filter_map(|face| self.beside(at as usize, index, face.axis, face.outward))
                .filter(|to| test(*to))
                .for_each(|to| found.add(to));
        });
        found.rising()
    }

    /// Voxels with a neighbour across a face of another label, rising.
    fn beside_another(&self, labels: &[u8]) -> Vec<u32> {
        let [columns, rows, slices] = self.patch.size;
        let plane = self.patch.plane();
        let labelled: Vec<bool> =
            labels.par_chunks(columns).map(|row| row.iter().any(|label| *label != 0)).collect();
        let by_row: Vec<Vec<u32>> = (0..rows * slices)
            .into_par_iter()
            .map_init(
                || vec![0_u8; columns],
                |differs, row| {
                    let start = row * columns;
                    let own = &labels[start..start + columns];
                    let (y, z) = (row % rows, row / rows);
                    let any = labelled[row]
                        || (y > 0 && labelled[row - 1])
                        || (y + 1 < rows && labelled[row + 1])
                        || (z > 0 && labelled[row - rows])
                        || (z + 1 < slices && labelled[row + rows]);
                    if !any {
                        return Vec::new();
                    }
                    differs.fill(0);
                    let mut compare = |other: usize| {
                        let other = &labels[other..other + columns];
                        for ((d, a), b) in differs.iter_mut().zip(own).zip(other) {
                            *d |= a ^ b;
                        }
                    };
                    if y > 0 {
                        compare(start - columns);
                    }
                    if y + 1 < rows {
                        compare(start + columns);
                    }
                    if z > 0 {
                        compare(start - plane);
                    }
                    if z + 1 < slices {
                        compare(start + plane);
                    }
                    for x in 1..columns {
                        let step = own[x] ^ own[x - 1];
                        differs[x] |= step;
                        differs[x - 1] |= step;
                    }
                    marked(differs, |d| d != 0).map(|x| (start + x) as u32).collect()
                },
            )
            .collect();
        by_row.concat()
    }

    #[inline]
    fn beside(&self, at: usize, index: [usize; 3], axis: usize, by: isize) -> Option<usize> {
        let moved = index[axis] as isize + by;
        (moved >= 0 && moved < self.patch.size[axis] as isize)
            .then(|| at.wrapping_add_signed(by * self.strides[axis]))
    }

    /// A bright voxel on the outer slope of its cortex, below the level, with
    /// a brighter voxel of the same bone behind it.
    fn peels(&self, labels: &[u8], at: usize, index: [usize; 3]) -> Option<u8> {
        let label = labels[at];
        let hu = self.patch.hu.at(at);
        if label == 0 || hu < self.weak_hu {
            return None;
        }
        let mut steepest = 0.0_f32;
        let mut peels = false;
        for face in FACES {
            let Some(out) = self.beside(at, index, face.axis, face.outward) else { continue };
            if labels[out] == label || !self.patch.hu.is_known(out) {
                continue;
            }
            if labels[out] != 0 {
                if self.opens(labels, at, index, face) {
                    return Some(0);
                }
                continue;
            }
            let fall = (hu - self.patch.hu.at(out)) / self.spacing[face.axis];
            if fall <= steepest {
                continue;
            }
            steepest = fall;
            peels = self.beside(at, index, face.axis, -face.outward).is_some_and(|inner| {
                labels[inner] == label
                    && self.patch.hu.at(inner) > hu
                    && self.level(labels, at, index, face).is_some_and(|level| hu < level)
            });
        }
        peels.then_some(0)
    }

    /// A voxel in the valley between two bones that is darker than halfway
    /// between its own cortex and soft tissue: there is something in between.
    fn opens(&self, labels: &[u8], at: usize, index: [usize; 3], face: Face) -> bool {
        let hu = self.patch.hu.at(at);
        let peak = self.peak(labels, at, index, face).min(PEAK_CAP_HU);
        peak >= self.weak_hu
            && hu < 0.5 * (peak + BETWEEN_HU)
            && self
                .beside(at, index, face.axis, -face.outward)
                .is_some_and(|inner| labels[inner] == labels[at] && self.patch.hu.at(inner) > hu)
    }

    /// An outside voxel above the level of the bone beside it, darker than it.
    fn joins(&self, labels: &[u8], at: usize, index: [usize; 3]) -> Option<u8> {
        let hu = self.patch.hu.at(at);
        // Half of the way up to a cortex of `weak_hu` or more cannot be lower.
        if labels[at] != 0 || hu.is_nan() || hu < 0.5 * self.weak_hu {
            return None;
        }
        let mut best: Option<(f32, u8)> = None;
        for face in FACES {
            let Some(bone) = self.beside(at, index, face.axis, -face.outward) else { continue };
            let label = labels[bone];
            let rise = (self.patch.hu.at(bone) - hu) / self.spacing[face.axis];
            if label == 0 || rise <= best.map_or(0.0, |(steepest, _)| steepest) {
                continue;
            }
            let mut inner = index;
            inner[face.axis] = inner[face.axis].wrapping_add_signed(-face.outward);
            if self.level(labels, bone, inner, face).is_some_and(|level| hu >= level) {
                best = Some((rise, label));
            }
        }
        best.map(|(_, label)| label)
    }

    /// Halfway between the cortex's peak and the outside, along the line that
    /// leaves a bone's voxel through a face; `None` where no cortex shows.
    fn level(&self, labels: &[u8], at: usize, index: [usize; 3], face: Face) -> Option<f32> {
        let peak = self.peak(labels, at, index, face);
        let beyond = self.line(at, index, (face.axis, face.outward));
        let is_outside = |(out, hu): &(usize, f32)| labels[*out] == 0 && !hu.is_nan();
        let outside = beyond.take_while(is_outside).map(|(_, hu)| hu).fold(f32::INFINITY, f32::min);
        let peak = peak.min(PEAK_CAP_HU);
        let shows = peak >= self.weak_hu && peak - outside >= LEAST_RISE_HU;
        shows.then_some(0.5 * (peak + outside))
    }

    /// Greatest HU of the bone within reach behind a face.
    fn peak(&self, labels: &[u8], at: usize, index: [usize; 3], face: Face) -> f32 {
        let behind = self.line(at, index, (face.axis, -face.outward));
        let own = behind.take_while(|(inner, _)| labels[*inner] == labels[at]);
        own.map(|(_, hu)| hu).fold(self.patch.hu.at(at), f32::max)
    }

    /// The voxels from one on, without it, within reach along an axis, with
    /// their HU.
    #[inline]
    fn line(
        &self,
        at: usize,
        index: [usize; 3],
        (axis, by): (usize, isize),
    ) -> impl Iterator<Item = (usize, f32)> {
        let room = if by < 0 { index[axis] } else { self.patch.size[axis] - 1 - index[axis] };
        let count = self.look[axis].min(room);
        let places = (1..=count as isize)
            .map(move |step| at.wrapping_add_signed(step * by * self.strides[axis]));
        places.zip(self.patch.hu.line(at, (axis, by), count))
    }

    /// Share of the way from a bone's voxel to the outside one beyond a face
    /// at which the surface is crossed, and whether a cortex placed it.
    fn crossing(&self, labels: &[u8], at: usize, index: [usize; 3], face: Face) -> (f32, bool) {
        let Some(out) = self.beside(at, index, face.axis, face.outward) else {
            return (0.5, false);
        };
        let (inner_hu, outer_hu) = (self.patch.hu.at(at), self.patch.hu.at(out));
        match self.level(labels, at, index, face) {
            Some(level) if inner_hu >= level && outer_hu < level => {
                (((inner_hu - level) / (inner_hu - outer_hu)).clamp(0.02, 0.98), true)
            }
            Some(level) if outer_hu >= level => (0.98, true),
            Some(_) if inner_hu >= self.weak_hu => (0.02, true),
            _ => (0.5, false),
        }
    }

    /// Signed distances, mm, at every voxel: exact for a plane at the voxels
    /// beside the surface, carried on from there to [`FIELD_LIMIT_MM`]; and
    /// the share of the crossings that a cortex placed.
    pub(crate) fn field(&self, labels: &[u8]) -> (Numbers, f64) {
        let mut field = vec![0; labels.len()];
        field.par_iter_mut().zip(labels).filter(|(_, label)| **label != 0).for_each(|(to, _)| {
            *to = DEEP;
        });
        let beside = self.beside_another(labels);
        let near: Vec<(Option<f32>, (usize, usize))> = beside
            .par_iter()
            .map(|at| {
                let mut counts = (0, 0);
                let at = *at as usize;
                let depth = self.near(labels, at, self.patch.index(at), &mut counts);
                (depth, counts)
            })
            .collect();
        let (mut placed, mut all) = (0, 0);
        let mut front = Vec::with_capacity(beside.len());
        for (at, (depth, counts)) in beside.iter().zip(near) {
            placed += counts.0;
            all += counts.1;
            if let Some(depth) = depth {
                field[*at as usize] = number_of(depth);
                front.push(*at);
            }
        }
        self.carry_on(&mut field, front);
        let field = Numbers::Steps { above: field, least: -FIELD_LIMIT, step: FIELD_STEP_MM };
        (field, placed as f64 / all.max(1) as f64)
    }

    /// Signed distance of a voxel beside the surface; `None` elsewhere.
    fn near(
        &self,
        labels: &[u8],
        at: usize,
        index: [usize; 3],
        counts: &mut (usize, usize),
    ) -> Option<f32> {
        let inside = labels[at] != 0;
        let mut inverse_squares = 0.0_f32;
        for axis in 0..3 {
            let mut nearest = f32::INFINITY;
            for outward in [-1, 1] {
                let Some(other) = self.beside(at, index, axis, outward) else { continue };
                if (labels[other] != 0) == inside {
                    continue;
                }
                let share = if inside {
                    let (share, placed) = self.crossing(labels, at, index, Face { axis, outward });
                    counts.0 += usize::from(placed);
                    counts.1 += 1;
                    share
                } else {
                    let mut inner = index;
                    inner[axis] = inner[axis].wrapping_add_signed(outward);
                    let face = Face { axis, outward: -outward };
                    1.0 - self.crossing(labels, other, inner, face).0
                };
                nearest = nearest.min(share * self.spacing[axis]);
            }
            inverse_squares += 1.0 / (nearest * nearest);
        }
        (inverse_squares > 0.0).then(|| {
            let distance = (1.0 / inverse_squares.sqrt()).min(FIELD_LIMIT_MM);
            if inside { distance } else { -distance }
        })
    }

    /// Carry the distances on from the voxels beside the surface, layer by
    /// layer across faces (first-order upwind solution of the eikonal equation).
    fn carry_on(&self, field: &mut [u16], mut front: Vec<u32>) {
        let shortest = self.spacing.iter().copied().fold(f32::INFINITY, f32::min);
        let rounds = (FIELD_LIMIT_MM / shortest).ceil() as usize;
        for _ in 0..rounds {
            let next = self.around(front.par_iter().copied(), |to| is_far(field[to]));
            let depths: Vec<f32> = next.par_iter().map(|at| self.upwind(field, *at)).collect();
            front.clear();
            for (at, depth) in next.into_iter().zip(depths) {
                if depth < FIELD_LIMIT_MM {
                    let number = &mut field[at as usize];
                    *number = on_the_side_of(*number, depth);
                    front.push(at);
                }
            }
            if front.is_empty() {
                break;
            }
        }
    }

    /// Distance at a voxel from the nearer of its neighbours on each axis, mm.
    fn upwind(&self, field: &[u16], at: u32) -> f32 {
        let at = at as usize;
        let index = self.patch.index(at);
        let mut nearest = [(f32::INFINITY, 0.0_f32); 3];
        for face in FACES {
            let best = &mut nearest[face.axis];
            if let Some(to) = self.beside(at, index, face.axis, face.outward)
                && (field[to] > AT_SURFACE) == (field[at] > AT_SURFACE)
                && !is_far(field[to])
            {
                let depth = f32::from(field[to].abs_diff(AT_SURFACE)) * FIELD_STEP_MM;
                if depth < best.0 {
                    *best = (depth, self.spacing[face.axis]);
                }
            }
        }
        for (low, high) in [(0, 1), (1, 2), (0, 1)] {
            if nearest[low].0 > nearest[high].0 {
                nearest.swap(low, high);
            }
        }
        let mut depth = nearest[0].0 + nearest[0].1;
        for used in 2..=3 {
            let known = &nearest[..used];
            if depth <= known[used - 1].0 {
                break;
            }
            // Sum of ((depth - d) / h)² over the axes is 1.
            let (mut a, mut b, mut c) = (0.0_f32, 0.0_f32, -1.0_f32);
            for (d, h) in known {
                let weight = 1.0 / (h * h);
                a += weight;
                b += weight * d;
                c += weight * d * d;
            }
            let root = b * b - a * c;
            if root < 0.0 {
                break;
            }
            depth = (b + root.sqrt()) / a;
        }
        depth
    }
}
