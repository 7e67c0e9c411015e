//! Vessels, bowel and bladder filled with contrast: as bright as bone, but even,
//! solid and without a cortex.
//!
//! Their walls would join bones that they pass, and noise would decide whether
//! they do. Places are looked for around which nothing but even contrast lies;
//! what those places fill is a body, and a body counts as a lumen when it falls
//! to soft tissue on most sides without a brighter rim. What is narrower than
//! about 5 mm, or denser than 450 HU, is not found.

use pilothole_volume::{Mask, PatientPoint};
use rayon::prelude::*;

use crate::boxes::{eroded, grown};
use crate::gathered::bits;
use crate::patch::Patch;
use crate::runs::{Piece, pieces};
use crate::smooth::MovingSum;

/// HU of contrast on a pelvic scan: above muscle and clot; arteries seldom pass
/// 450, cortex does even when blurred.
pub(crate) const CONTRAST_HU: std::ops::RangeInclusive<i16> = 130..=450;
/// Half-width of the box around a place that must be even, mm, and at least one
/// voxel.
const EVEN_MM: f64 = 2.0;
/// Greatest standard deviation in that box, HU: twice the noise of a usual
/// pelvic scan; cancellous bone has 30 to 100.
const EVEN_SD_HU: f64 = 30.0;
/// Smallest body asked, mm³: 10 mm of a vessel of 6 mm.
const LEAST_MM3: f64 = 300.0;
/// How far a body's sides are followed outwards, mm.
const BESIDE_MM: f64 = 6.0;
/// What a lumen falls to, HU: above muscle with contrast.
const SOFT_HU: f32 = 110.0;
/// Sides that must fall to it. Lumens of an open scan: 0.42 to 0.97 and mostly
/// above 0.7, even places in its bones: below 0.45.
const SOFT_SHARE: f64 = 0.5;
/// Sides that may rise to cortex instead: calcified plaques, a bone that is met.
const BRIGHT_SHARE: f64 = 0.05;
/// Rise outwards that shows a rim, HU: three times what noise adds.
const RIM_HU: f32 = 100.0;
/// How far inwards from a side a rim is looked for that is itself no denser than
/// contrast, mm: a thin shell, blurred.
const SHELL_MM: f64 = 3.0;
/// Rise of such a rim over the body's middle, HU. Own choice: a shell of 0.6 mm,
/// blurred by 0.9 mm, rises by 100 HU and more above marrow of 330 HU.
const SHELL_HU: f32 = 80.0;
/// Sides that show it on a bone; uneven contrast in an open scan's bowel shows it
/// on 0.3 and more. Own choice.
const SHELL_SHARE: f64 = 0.6;
/// Sides that may show a rim; a bone shows it on most.
const RIM_SHARE: f64 = 0.3;

/// The lumens of a region.
pub(crate) struct Lumens {
    /// Array positions, rising.
    pub(crate) voxels: Vec<u32>,
    pub(crate) count: usize,
    /// A voxel of the largest.
    pub(crate) at: Option<PatientPoint>,
}

/// Find the lumens.
pub(crate) fn find(patch: &Patch<'_>) -> Lumens {
    let half = patch.spacing_mm.map(|s| ((EVEN_MM / s).round() as usize).max(1));
    let solid = patch.voxels_where(CONTRAST_HU, |_| true);
    let even = even_places(patch, &eroded(&solid, half), half);
    let bodies = if even.is_empty() { Vec::new() } else { bytes_of(&grown(&even, half)) };
    let mut found = Lumens { voxels: Vec::new(), count: 0, at: None };
    if bodies.is_empty() {
        return found;
    }
    let least = (LEAST_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    let mut largest = 0;
    let large = |piece: &Piece| piece.voxel_count >= least;
    let lumens: Vec<Piece> = pieces(&bodies, patch.size)
        .into_par_iter()
        .filter(|piece| large(piece) && falls_to_soft_tissue(patch, &bodies, piece))
        .collect();
    for piece in lumens {
        found.count += 1;
        found.voxels.extend(piece.voxels().map(|at| at as u32));
        if piece.voxel_count > largest {
            largest = piece.voxel_count;
            found.at = Some(patch.centre(patch.index(piece.runs[0].from)));
        }
    }
    found.voxels.sort_unstable();
    found
}

/// Places around which HU are even; the whole box of a place is in the region.
fn even_places(patch: &Patch<'_>, places: &Mask, half: [usize; 3]) -> Mask {
    let [columns, rows, _] = patch.size;
    let words = places.words_per_row();
    let count = half.iter().map(|h| 2 * h + 1).product::<usize>() as f64;
    let mut even = Mask::none(places.size());
    even.words_mut().par_chunks_mut(words * rows).enumerate().for_each(|(z, even)| {
        let places = &places.words()[z * words * rows..][..words * rows];
        if places.iter().all(|word| *word == 0) {
            return;
        }
        let [sums, squares] = across_slices(patch, z, half[2]);
        let [mut sums, mut squares] =
            [&sums, &squares].map(|of| MovingSum::new(of, columns, half[1], 0));
        for (places, even) in places.chunks(words).zip(even.chunks_mut(words)) {
            let (sums, squares) = (sums.step(), squares.step());
            for x in bits(places) {
                let beside = x - half[0]..=x + half[0];
                let sum = f64::from(sums[beside.clone()].iter().sum::<i32>());
                let square = f64::from(squares[beside].iter().sum::<i32>());
                let variance = square / count - (sum / count).powi(2);
                even[x / 64] |= u64::from(variance < EVEN_SD_HU * EVEN_SD_HU) << (x % 64);
            }
        }
    });
    even
}

/// Of each place of a slice, HU and their squares summed over the slices within
/// reach; HU beyond those of contrast count as its bounds.
fn across_slices(patch: &Patch<'_>, z: usize, reach: usize) -> [Vec<i32>; 2] {
    let [columns, rows, _] = patch.size;
    let [mut sums, mut squares] = [0, 1].map(|_| vec![0_i32; patch.plane()]);
    for z in z - reach..=z + reach {
        let both = sums.chunks_mut(columns).zip(squares.chunks_mut(columns));
        for (y, (sums, squares)) in both.enumerate() {
            for ((sum, square), hu) in sums.iter_mut().zip(squares).zip(patch.hu.row(z * rows + y))
            {
                let hu = i32::from((*hu).clamp(*CONTRAST_HU.start(), *CONTRAST_HU.end()));
                *sum += hu;
                *square += hu * hu;
            }
        }
    }
    [sums, squares]
}

/// 1 where a voxel belongs, else 0.
fn bytes_of(mask: &Mask) -> Vec<u8> {
    let [columns, rows, slices] = mask.size();
    let mut bytes = vec![0; columns * rows * slices];
    let words = mask.words().par_chunks(mask.words_per_row());
    bytes.par_chunks_mut(columns).zip(words).for_each(|(bytes, words)| {
        bits(words).for_each(|x| bytes[x] = 1);
    });
    bytes
}

/// How many of a piece's voxels are darker than contrast, and how many denser.
pub(crate) fn beside_contrast(patch: &Patch<'_>, piece: &Piece) -> [usize; 2] {
    let [low, high] = [*CONTRAST_HU.start(), *CONTRAST_HU.end()].map(f32::from);
    piece.voxels().map(|at| patch.hu.at(at)).fold([0, 0], |[hollow, dense], hu| {
        [hollow + usize::from(hu < low), dense + usize::from(hu > high)]
    })
}

/// Whether a body falls to soft tissue on most sides, and rises to cortex or
/// shows a rim on next to none.
///
/// - `bodies`: by array position, 0 where there is none.
pub(crate) fn falls_to_soft_tissue(patch: &Patch<'_>, bodies: &[u8], piece: &Piece) -> bool {
    let sides = sides_of(patch, bodies, piece);
    let all = sides.all as f64;
    sides.soft as f64 >= SOFT_SHARE * all
        && sides.bright as f64 <= BRIGHT_SHARE * all
        && (sides.rim + sides.shell) as f64 <= RIM_SHARE * all
}

/// Whether a body shows a rim brighter than its middle on most of its sides, as
/// bone does.
pub(crate) fn has_shell(patch: &Patch<'_>, bodies: &[u8], piece: &Piece) -> bool {
    let sides = sides_of(patch, bodies, piece);
    sides.shell as f64 > SHELL_SHARE * sides.all as f64
}

fn sides_of(patch: &Patch<'_>, bodies: &[u8], piece: &Piece) -> Sides {
    let mut sides = Sides { shell_hu: middle_hu(patch, piece) + SHELL_HU, ..Sides::default() };
    let [columns, rows, slices] = patch.size;
    for run in &piece.runs {
        let row = run.from / columns;
        let (y, z) = (row % rows, row / rows);
        let (first, last) = (run.from, run.to - 1);
        sides.look(patch, first, 0, first - row * columns, false);
        sides.look(patch, last, 0, columns - 1 - (last - row * columns), true);
        for (axis, at, count) in [(1, y, rows), (2, z, slices)] {
            let stride = patch.strides()[axis];
            for (up, left) in [(false, at), (true, count - 1 - at)] {
                let beside = |at: usize| if up { at + stride } else { at - stride };
                let is_side = |at: &usize| left > 0 && bodies[beside(*at)] == 0;
                (run.from..run.to)
                    .filter(is_side)
                    .for_each(|at| sides.look(patch, at, axis, left, up));
            }
        }
    }
    sides
}

/// The middle of a piece's HU by rank.
fn middle_hu(patch: &Patch<'_>, piece: &Piece) -> f32 {
    let mut all: Vec<f32> = piece.voxels().map(|at| patch.hu.at(at)).collect();
    let middle = all.len() / 2;
    *all.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// Sides of a body within the region: all, those that fall to soft tissue, those
/// that rise to cortex or to a rim first, and those that fall behind a rim of
/// their own.
#[derive(Default)]
struct Sides {
    /// HU from which a rim shows within the body.
    shell_hu: f32,
    all: usize,
    soft: usize,
    bright: usize,
    rim: usize,
    shell: usize,
}

impl Sides {
    /// Follow a voxel's side outwards along an axis, `left` voxels at most.
    fn look(&mut self, patch: &Patch<'_>, at: usize, axis: usize, left: usize, up: bool) {
        if left == 0 {
            return;
        }
        self.all += 1;
        let own = patch.hu.at(at);
        let reach = ((BESIDE_MM / patch.spacing_mm[axis]).round() as usize).max(2).min(left);
        let stride = patch.strides()[axis];
        for step in 1..=reach {
            let to = if up { at + step * stride } else { at - step * stride };
            let hu = patch.hu.at(to);
            if hu < SOFT_HU {
                self.soft += 1;
                self.shell += usize::from(self.lies_behind_shell(patch, at, axis, up));
                return;
            }
            if hu > f32::from(*CONTRAST_HU.end()) {
                self.bright += 1;
                return;
            }
            if hu > own + RIM_HU {
                self.rim += 1;
                return;
            }
        }
    }

    /// Whether a rim shows inwards from a body's side.
    fn lies_behind_shell(&self, patch: &Patch<'_>, at: usize, axis: usize, up: bool) -> bool {
        let index = patch.index(at)[axis];
        let room = if up { index } else { patch.size[axis] - 1 - index };
        let reach = ((SHELL_MM / patch.spacing_mm[axis]).round() as usize).max(1).min(room);
        let inwards = if up { -1 } else { 1 };
        patch.hu.at(at) > self.shell_hu
            || patch.hu.line(at, (axis, inwards), reach).any(|hu| hu > self.shell_hu)
    }
}
