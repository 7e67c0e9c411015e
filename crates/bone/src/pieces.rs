//! Which enclosed pieces are bone: not specks, not lumens, not bare metal.

use pilothole_volume::Mask;
use rayon::prelude::*;

use crate::bones::BoneFinding;
use crate::find::Names;
use crate::hanging::hanging;
use crate::lumen::{Lumens, beside_contrast, has_shell};
use crate::params::BoneName;
use crate::patch::Patch;
use crate::runs::{Piece, largest, pieces};

/// Smallest piece of a bone kept beside its largest, mm³.
const LEAST_PIECE_MM3: f64 = 200.0;
/// Smallest bone kept, mm³: a sphere of 10 mm.
const LEAST_BONE_MM3: f64 = 500.0;
/// Larger bodies that are a bone's largest piece are not asked whether they are
/// a lumen, mm³: an iliac artery alone stays below, and no bone of a hip does.
const LARGEST_LUMEN_MM3: f64 = 60_000.0;
/// Share of voxels denser than contrast under which a body is suspect of being a
/// lumen.
const DENSE_FRACTION: f64 = 0.01;
/// Share of voxels darker than contrast, marrow, under which a body is solid.
const SOLID_FRACTION: f64 = 0.2;

/// Farthest gap between the boxes of two pieces of one femur, mm: all that lies
/// lateral and low is taken for a femur, hands and the table's parts too.
const APART_MM: f64 = 40.0;
/// Most labels.
const MOST_LABELS: usize = u8::MAX as usize;

/// Remove pieces that are no bone from the labels, take the name of a femur from
/// what lies apart from it, and say what was left out here or as a lumen.
pub(crate) fn clean(
    patch: &Patch<'_>,
    metal: &Mask,
    lumens: &Lumens,
    (labels, names): (&mut [u8], &mut Names),
    findings: &mut Vec<BoneFinding>,
) {
    let voxel_mm3 = patch.grid.voxel_mm3();
    let hanging = hanging(patch, labels);
    for at in hanging.iter().flatten() {
        labels[*at as usize] = 0;
    }
    let pieces = pieces(labels, patch.size);
    let largest = largest(&pieces);
    let mut left_out: Vec<&Piece> = Vec::new();
    let mut kept: Vec<&Piece> = Vec::new();
    for piece in &pieces {
        let volume_mm3 = piece.voxel_count as f64 * voxel_mm3;
        let is_largest = largest.get(&piece.label) == Some(&piece.voxel_count);
        let least = if is_largest { LEAST_BONE_MM3 } else { LEAST_PIECE_MM3 };
        let small = !is_largest || volume_mm3 < LARGEST_LUMEN_MM3;
        let lumen = small && is_lumen(patch, labels, piece);
        if volume_mm3 < least || lumen || is_bare_metal(patch, metal, piece) {
            for run in &piece.runs {
                labels[run.from..run.to].fill(0);
            }
            if lumen && volume_mm3 >= LEAST_BONE_MM3 {
                left_out.push(piece);
            }
        } else {
            kept.push(piece);
        }
    }
    unname(patch, &kept, labels, names);
    let largest = left_out.iter().max_by_key(|piece| piece.voxel_count);
    let of_voxel = |at: usize| patch.centre(patch.index(at));
    let of_hanging = || hanging.iter().max_by_key(|vessel| vessel.len()).map(|v| v[0] as usize);
    let largest = largest.map(|piece| piece.runs[0].from).or_else(of_hanging);
    if let Some(at) = lumens.at.or(largest.map(of_voxel)) {
        let voxels: usize = left_out.iter().map(|piece| piece.voxel_count).sum();
        let hung: usize = hanging.iter().map(Vec::len).sum();
        findings.push(BoneFinding::LeftOut {
            count: lumens.count + left_out.len() + hanging.len(),
            volume_mm3: (lumens.voxels.len() + voxels + hung) as f64 * voxel_mm3,
            at,
        });
    }
}

/// Give what lies apart from the largest piece of a femur a label of its own,
/// without a name.
fn unname(patch: &Patch<'_>, kept: &[&Piece], labels: &mut [u8], names: &mut Names) {
    let femurs = (1..=names.len()).filter(|l| names[l - 1].is_some_and(BoneName::is_femur));
    for femur in femurs.collect::<Vec<_>>() {
        let own: Vec<&Piece> =
            kept.iter().copied().filter(|piece| usize::from(piece.label) == femur).collect();
        let Some(largest) = own.iter().max_by_key(|piece| piece.voxel_count) else { continue };
        let middle = box_of(patch, largest);
        for piece in own.iter().filter(|piece| gap_mm(box_of(patch, piece), middle) > APART_MM) {
            if names.len() == MOST_LABELS {
                return;
            }
            names.push(None);
            for run in &piece.runs {
                labels[run.from..run.to].fill(names.len() as u8);
            }
        }
    }
}

/// Least and greatest place of a piece's voxels along each axis of the lattice, mm.
fn box_of(patch: &Patch<'_>, piece: &Piece) -> [[f64; 2]; 3] {
    let mut found = [[f64::INFINITY, f64::NEG_INFINITY]; 3];
    for at in piece.runs.iter().flat_map(|run| [run.from, run.to - 1]) {
        let index = patch.index(at);
        for axis in 0..3 {
            let place = index[axis] as f64 * patch.spacing_mm[axis];
            found[axis] = [found[axis][0].min(place), found[axis][1].max(place)];
        }
    }
    found
}

fn gap_mm(a: [[f64; 2]; 3], b: [[f64; 2]; 3]) -> f64 {
    let apart = |axis: usize| (a[axis][0] - b[axis][1]).max(b[axis][0] - a[axis][1]).max(0.0);
    (0..3).map(|axis| apart(axis).powi(2)).sum::<f64>().sqrt()
}

/// Solid, never as dense as cortex, and without a shell.
fn is_lumen(patch: &Patch<'_>, labels: &[u8], piece: &Piece) -> bool {
    let [hollow, dense] = beside_contrast(patch, piece);
    let count = piece.voxel_count as f64;
    (dense as f64) < DENSE_FRACTION * count
        && (hollow as f64) < SOLID_FRACTION * count
        && !has_shell(patch, labels, piece)
}

fn is_bare_metal(patch: &Patch<'_>, metal: &Mask, piece: &Piece) -> bool {
    if metal.is_empty() {
        return false;
    }
    let inside = piece.voxels().filter(|at| metal.has(patch.index(*at))).count();
    4 * inside > piece.voxel_count
}

/// Number the labels from 1 without gaps: named bones in the order of their
/// names, then the others by falling size; their names in that order.
pub(crate) fn renumber(labels: &mut [u8], names: &[Option<BoneName>]) -> Names {
    let counts = counts(labels, names.len());
    let mut left: Vec<usize> = (1..=names.len()).filter(|label| counts[*label] > 0).collect();
    left.sort_by_key(|label| {
        let name = names[*label - 1];
        (name.is_none(), name, std::cmp::Reverse(counts[*label]), *label)
    });
    let mut to = vec![0_u8; names.len() + 1];
    for (rank, label) in left.iter().enumerate() {
        to[*label] = rank as u8 + 1;
    }
    if left.iter().enumerate().any(|(rank, label)| rank + 1 != *label) {
        labels.par_iter_mut().filter(|label| **label != 0).for_each(|label| {
            *label = to[usize::from(*label)];
        });
    }
    left.iter().map(|label| names[*label - 1]).collect()
}

/// Voxels of each label; nothing's are not counted.
fn counts(labels: &[u8], most: usize) -> Vec<usize> {
    let none = || vec![0_usize; most + 1];
    let add = |mut sums: Vec<usize>, labels: &[u8]| {
        for label in labels.iter().filter(|label| **label != 0) {
            sums[usize::from(*label)] += 1;
        }
        sums
    };
    let plus = |sums: Vec<usize>, more: Vec<usize>| {
        sums.iter().zip(more).map(|(sum, more)| sum + more).collect()
    };
    labels.par_chunks(1 << 16).fold(none, add).reduce(none, plus)
}
