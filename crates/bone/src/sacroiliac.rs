//! The sacroiliac joint as a sheet, placed from the hip centre and then found.
//!
//! Profiles run across the joint, from sacrum to ilium; the sheet follows the
//! dark valley between the two cortices. Where no valley shows (outside the
//! joint, or with coarse slices) its stiffness and a weak pull towards the
//! usual plane carry it. Patients lie on their back with the pelvis turned by
//! less than about 20°; nothing is said of others.

use pilothole_volume::{Offset, PatientPoint};
use rayon::prelude::*;

use crate::joint::Joint;
use crate::params::Side;
use crate::patch::Patch;
use crate::sheet::{Prices, Sheet};

/// Angle of the joint to the sagittal plane, seen from above, degrees.
const SLANT_DEG: f64 = 26.0;
/// Posterior range of the net along the joint, from the hip centre, mm.
const ALONG_MM: [f64; 2] = [24.0, 96.0];
/// Least height of the net above the hip centre, mm.
const LEAST_HEIGHT_MM: f64 = 34.0;
/// Where the joint's plane is looked for, from the hip centre, mm: as far behind
/// and above. On an open scan the middle of what shows of it lies 56 to 64 mm
/// behind and 76 to 94 mm above; nearer, a blurred scan shows a deeper valley
/// between the two tables of the ilium.
const HEART_MM: [f64; 2] = [40.0, 50.0];
/// How far before and below that a screw's end may still lie beside the joint, mm;
/// own choice.
const BESIDE_HEART_MM: f64 = 5.0;
/// Place of the profiles across the joint, from the hip centre, mm; joints of
/// two hips lay at -22 and -13.
const ACROSS_MM: [f64; 2] = [-50.0, 5.0];
/// Usual place of the joint's plane, mm, a weak pull only.
const USUAL_MM: f64 = -19.0;
/// How far the sheet may leave the plane that fits best, mm.
const BAND_MM: f64 = 7.0;
/// Net spacing along and up, mm.
const NET_MM: f64 = 2.0;
/// Step of the profiles, mm.
const STEP_MM: f64 = 0.75;
/// How far the two cortices beside the joint are looked for, mm.
const LOOK_MM: f64 = 4.0;
/// Where the ilium's outer table lies beyond the joint, mm; between the two
/// tables of an ilium, which also make a valley, nothing follows there.
const OUTER_TABLE_MM: [f64; 2] = [11.0, 24.0];
/// Widest voxel in the plane in which the joint (2 to 4 mm) can show; at 3 mm
/// the marrow between the ilium's tables is the darker valley.
const COARSEST_MM: f64 = 2.0;
/// Both cortices and the outer table must reach this, HU.
const BONY_HU: f32 = 180.0;
/// Depth of a valley that counts as the joint, HU.
const SEEN_HU: f32 = 60.0;
/// Share of nodes with the joint below which it counts as not there.
const LEAST_SEEN: f64 = 0.03;
/// The sheet is believed this many nodes around one that shows the joint.
const BELIEVED_NODES: usize = 3;

/// A sacroiliac joint that was found.
pub(crate) struct Sacroiliac {
    origin: PatientPoint,
    across: Offset,
    along: Offset,
    rows: usize,
    columns: usize,
    /// Place across the joint at each node, mm, rows upwards; NaN where the
    /// joint does not show nearby.
    places_mm: Vec<f32>,
    /// Share of the nodes that show the joint.
    pub(crate) seen_fraction: f64,
}

/// Depth of the valley at every step of every profile, HU, and the HU there.
struct Valleys {
    rows: usize,
    columns: usize,
    steps: usize,
    depths: Vec<f32>,
    hu: Vec<f32>,
}

/// A plane over the net: step = at + row · up + column · along.
#[derive(Clone, Copy)]
struct Plane {
    at: f64,
    up: f64,
    along: f64,
}

/// Across the joint, from sacrum to ilium, and backwards along it.
fn axes(side: Side) -> (Offset, Offset) {
    let (sin, cos) = SLANT_DEG.to_radians().sin_cos();
    let lateral = side.lateral();
    (Offset([cos * lateral, sin, 0.0]), Offset([-sin * lateral, cos, 0.0]))
}

impl Sacroiliac {
    /// Whether a point lies where the joint beside a hip may be, or medial of that.
    pub(crate) fn may_hold(side: Side, hip_centre: PatientPoint, at: PatientPoint) -> bool {
        let (across, along) = axes(side);
        let offset = at - hip_centre;
        offset.dot(along) >= HEART_MM[0] - BESIDE_HEART_MM
            && offset.0[2] >= HEART_MM[1] - BESIDE_HEART_MM
            && offset.dot(across) <= ACROSS_MM[1]
    }

    /// Find the joint beside a hip; `None` when the region does not reach it
    /// or it does not show.
    pub(crate) fn find(patch: &Patch<'_>, hip: &Joint) -> Option<Self> {
        if patch.spacing_mm[0].max(patch.spacing_mm[1]) > COARSEST_MM {
            return None;
        }
        let (across, along) = axes(hip.side);
        let ends = [0, patch.size[2] - 1].map(|k| patch.centre([0, 0, k]).0[2]);
        let height = ends[0].max(ends[1]) - hip.centre.0[2] - LEAST_HEIGHT_MM;
        if height < 5.0 * NET_MM {
            return None;
        }
        let rows = (height.min(90.0) / NET_MM) as usize;
        let columns = ((ALONG_MM[1] - ALONG_MM[0]) / NET_MM) as usize;
        let mut joint = Self {
            origin: hip.centre,
            across,
            along,
            rows,
            columns,
            places_mm: Vec::new(),
            seen_fraction: 0.0,
        };
        let valleys = joint.valleys(patch);
        let plane = valleys.best_plane();
        (joint.places_mm, joint.seen_fraction) = valleys.follow(plane)?;
        Some(joint)
    }

    /// Distance beyond the sheet towards the ilium, mm, negative on the
    /// sacrum's side; `None` where the sheet is not believed.
    pub(crate) fn beyond_mm(&self, at: PatientPoint) -> Option<f64> {
        let offset = at - self.origin;
        let column = (offset.dot(self.along) - ALONG_MM[0]) / NET_MM;
        let row = (offset.0[2] - LEAST_HEIGHT_MM) / NET_MM;
        let inside = column >= 0.0
            && row >= 0.0
            && column <= (self.columns - 1) as f64
            && row < self.rows as f64;
        if !inside {
            return None;
        }
        let row = row.min((self.rows - 1) as f64);
        let (r, c) = (row as usize, column as usize);
        let (r1, c1) = ((r + 1).min(self.rows - 1), (c + 1).min(self.columns - 1));
        let (v, u) = (row - r as f64, column - c as f64);
        let node = |r: usize, c: usize| f64::from(self.places_mm[r * self.columns + c]);
        let low = node(r, c) * (1.0 - u) + node(r, c1) * u;
        let high = node(r1, c) * (1.0 - u) + node(r1, c1) * u;
        let place = low * (1.0 - v) + high * v;
        (!place.is_nan()).then(|| offset.dot(self.across) - place)
    }

    fn valleys(&self, patch: &Patch<'_>) -> Valleys {
        let steps = ((ACROSS_MM[1] - ACROSS_MM[0]) / STEP_MM) as usize + 1;
        let (near, far) = (1, (LOOK_MM / STEP_MM) as usize);
        let outer = OUTER_TABLE_MM.map(|mm| (mm / STEP_MM) as usize);
        let profile = |node: usize| {
            let (row, column) = (node / self.columns, node % self.columns);
            let base = self.origin
                + self.along * (ALONG_MM[0] + column as f64 * NET_MM)
                + Offset([0.0, 0.0, LEAST_HEIGHT_MM + row as f64 * NET_MM]);
            let read = |i: usize| {
                let place = ACROSS_MM[0] + (i as f64 - far as f64) * STEP_MM;
                patch.sample(base + self.across * place).unwrap_or(-100.0).clamp(-100.0, 600.0)
            };
            let hu: Vec<f32> = (0..steps + far + outer[1]).map(read).collect();
            let depth = |at: usize| {
                let top = |part: &[f32]| part.iter().copied().fold(-100.0, f32::max);
                let bony = top(&hu[at - far..=at - near]).min(top(&hu[at + near..=at + far]));
                let table = top(&hu[at + outer[0]..at + outer[1]]);
                let valley = (bony - hu[at]).clamp(0.0, 250.0);
                if bony.min(table) > BONY_HU { valley } else { 0.0 }
            };
            let depths: Vec<f32> = (far..far + steps).map(depth).collect();
            (depths, hu[far..far + steps].to_vec())
        };
        let nodes = self.rows * self.columns;
        let (depths, hu): (Vec<Vec<f32>>, Vec<Vec<f32>>) =
            (0..nodes).into_par_iter().with_min_len(self.columns).map(profile).unzip();
        let (rows, columns) = (self.rows, self.columns);
        Valleys { rows, columns, steps, depths: depths.concat(), hu: hu.concat() }
    }
}

impl Plane {
    fn step(&self, row: usize, column: usize) -> f64 {
        self.at + self.up * row as f64 + self.along * column as f64
    }
}

impl Valleys {
    /// The plane with the deepest valleys in all, over places, tilts and turns.
    fn best_plane(&self) -> Plane {
        let usual = (USUAL_MM - ACROSS_MM[0]) / STEP_MM;
        let tilts =
            [-0.3, 0.0, 0.3, 0.6, 0.9].map(|up| [-0.8, -0.4, 0.0, 0.4, 0.8].map(|a| (up, a)));
        let widened = self.widened();
        let tilts: Vec<(f64, f64)> = tilts.into_iter().flatten().collect();
        let by_tilt: Vec<Vec<f64>> =
            tilts.par_iter().map(|(up, along)| self.depths_along(&widened, *up, *along)).collect();
        let mut best = (f64::NEG_INFINITY, Plane { at: usual, up: 0.0, along: 0.0 });
        for ((up, along), depths) in tilts.into_iter().zip(by_tilt) {
            for (middle, depth) in depths.into_iter().enumerate() {
                let middle = middle as f64;
                let value = depth - (middle - usual).powi(2) * 0.02;
                if value > best.0 {
                    best = (value, Plane { at: middle - self.middle(up, along), up, along });
                }
            }
        }
        best.1
    }

    /// Where a plane through step 0 of the first node lies in the net's middle.
    fn middle(&self, up: f64, along: f64) -> f64 {
        up * 0.5 * self.rows as f64 + along * 0.35 * self.columns as f64
    }

    /// The deepest valley within one step of each, HU.
    fn widened(&self) -> Vec<f32> {
        let deepest = |at: usize| {
            let around = at.saturating_sub(1)..(at + 2).min(self.depths.len());
            self.depths[around].iter().copied().fold(0.0, f32::max)
        };
        (0..self.depths.len()).map(deepest).collect()
    }

    /// Depth within one step of planes of one tilt and turn, HU, by the step that
    /// they pass in the net's middle: what the heart shows, a share of the net.
    ///
    /// - `widened`: the deepest valley within one step of each.
    fn depths_along(&self, widened: &[f32], up: f64, along: f64) -> Vec<f64> {
        let plane = Plane { at: -self.middle(up, along), up, along };
        let mut sums = vec![0.0; self.steps];
        let nodes = widened.chunks(self.steps).enumerate();
        for (node, depths) in nodes.filter(|(node, _)| self.in_heart(*node)) {
            let off = plane.step(node / self.columns, node % self.columns).round() as isize;
            // Steps 0 and the last have no step to one side.
            let first = (1 - off).clamp(0, self.steps as isize);
            let end = (self.steps as isize - 1 - off).clamp(first, self.steps as isize);
            let depths = &depths[(first + off).clamp(0, self.steps as isize) as usize..];
            for (sum, depth) in sums[first as usize..end as usize].iter_mut().zip(depths) {
                *sum += f64::from(*depth);
            }
        }
        sums.iter().map(|sum| sum / (self.rows * self.columns) as f64).collect()
    }

    fn in_heart(&self, node: usize) -> bool {
        let (row, column) = (node / self.columns, node % self.columns);
        ALONG_MM[0] + column as f64 * NET_MM >= HEART_MM[0]
            && LEAST_HEIGHT_MM + row as f64 * NET_MM >= HEART_MM[1]
    }

    /// The sheet within the band around a plane, mm, NaN away from where the
    /// joint shows; `None` when it shows almost nowhere.
    fn follow(&self, plane: Plane) -> Option<(Vec<f32>, f64)> {
        let band = (BAND_MM / STEP_MM) as usize;
        let steps = 2 * band + 1;
        let mut costs = Vec::with_capacity(self.rows * self.columns * steps);
        for node in 0..self.rows * self.columns {
            let start = plane.step(node / self.columns, node % self.columns).round() - band as f64;
            costs.extend((0..steps).map(|i| {
                let step = start + i as f64;
                let off = (i as f64 - band as f64) as f32;
                let inside = step >= 0.0 && step < self.steps as f64;
                let at = node * self.steps + if inside { step as usize } else { 0 };
                let seen = if inside { 0.05 * self.hu[at] - self.depths[at] } else { 0.0 };
                0.15 * off * off + seen
            }));
        }
        let sheet = Sheet { rows: self.rows, columns: self.columns, steps, wraps: false, costs };
        let chosen = sheet.settle(Prices { one_step: 25.0, jump: 160.0 });
        let mut seen = vec![false; chosen.len()];
        let mut places = Vec::with_capacity(chosen.len());
        for (node, offset) in chosen.iter().enumerate() {
            let (row, column) = (node / self.columns, node % self.columns);
            let step = plane.step(row, column).round() - band as f64 + f64::from(*offset);
            places.push((ACROSS_MM[0] + step * STEP_MM) as f32);
            if step >= 0.0 && step.round() < self.steps as f64 {
                seen[node] = self.depths[node * self.steps + step.round() as usize] > SEEN_HU;
            }
        }
        self.keep_largest(&mut seen);
        let of_heart =
            seen.iter().enumerate().filter(|(node, s)| **s && self.in_heart(*node)).count();
        let count = seen.iter().filter(|s| **s).count();
        let seen_fraction = count as f64 / seen.len() as f64;
        if seen_fraction < LEAST_SEEN || 2 * of_heart < count {
            return None;
        }
        for (node, place) in places.iter_mut().enumerate() {
            if !self.believed(&seen, node) {
                *place = f32::NAN;
            }
        }
        Some((places, seen_fraction))
    }

    /// Forget all but the largest connected set of seen nodes: two tables of a
    /// thin ilium also make a valley, elsewhere.
    fn keep_largest(&self, seen: &mut [bool]) {
        let mut set_of = vec![0_usize; seen.len()];
        let mut sizes = vec![0_usize];
        for first in 0..seen.len() {
            if !seen[first] || set_of[first] != 0 {
                continue;
            }
            let set = sizes.len();
            sizes.push(0);
            set_of[first] = set;
            let mut queue = vec![first];
            while let Some(node) = queue.pop() {
                sizes[set] += 1;
                let around = self.around(node, 1);
                let fresh: Vec<usize> = around.filter(|n| seen[*n] && set_of[*n] == 0).collect();
                for next in &fresh {
                    set_of[*next] = set;
                }
                queue.extend(fresh);
            }
        }
        let mut largest = 0;
        for (set, size) in sizes.iter().enumerate() {
            if *size > sizes[largest] {
                largest = set;
            }
        }
        for (seen, set) in seen.iter_mut().zip(&set_of) {
            *seen = *seen && *set == largest;
        }
    }

    fn believed(&self, seen: &[bool], node: usize) -> bool {
        self.around(node, BELIEVED_NODES).filter(|n| seen[*n]).count() >= 4
    }

    /// Nodes within `reach` rows and columns.
    fn around(&self, node: usize, reach: usize) -> impl Iterator<Item = usize> + use<> {
        let columns = self.columns;
        let (row, column) = (node / columns, node % columns);
        let span =
            move |at: usize, most: usize| at.saturating_sub(reach)..(at + reach + 1).min(most);
        let inner = span(column, columns);
        span(row, self.rows).flat_map(move |r| inner.clone().map(move |c| r * columns + c))
    }
}
