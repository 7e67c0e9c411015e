//! What is known of each bone once its voxels are.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::bones::{BoneFinding, BoneRecord};
use crate::gathered::any;
use crate::hu::whole_or_nan;
use crate::params::BoneName;
use crate::patch::Patch;

/// Count, measure and pair the bones; touching pairs are findings too.
pub(crate) fn of(
    patch: &Patch<'_>,
    labels: &[u8],
    names: &[Option<BoneName>],
    threshold_hu: f64,
    findings: &mut Vec<BoneFinding>,
) -> Vec<BoneRecord> {
    let by_slice: Vec<SliceCount> = (0..patch.size[2])
        .into_par_iter()
        .map(|z| SliceCount::of(patch, labels, z, names.len(), threshold_hu as f32))
        .collect();
    let mut contacts: BTreeMap<(u8, u8), f64> = BTreeMap::new();
    for ((pair, axis), count) in by_slice.iter().flat_map(|slice| &slice.contacts) {
        let face_mm2 = patch.grid.voxel_mm3() / patch.spacing_mm[*axis];
        *contacts.entry(*pair).or_insert(0.0) += face_mm2 * *count as f64;
    }
    let mut records: Vec<BoneRecord> = names
        .iter()
        .enumerate()
        .map(|(bone, name)| record(patch, &by_slice, bone, *name))
        .collect();
    for ((label, other), area_mm2) in contacts {
        records[usize::from(label) - 1].touches.push(other);
        records[usize::from(other) - 1].touches.push(label);
        findings.push(BoneFinding::Touching { label, other, area_mm2 });
    }
    records
}

fn record(
    patch: &Patch<'_>,
    by_slice: &[SliceCount],
    bone: usize,
    name: Option<BoneName>,
) -> BoneRecord {
    let (mut voxel_count, mut below) = (0, 0);
    let (mut low, mut high) = (patch.size, [0; 3]);
    for (z, slice) in by_slice.iter().enumerate() {
        let count = &slice.bones[bone];
        if count.voxels == 0 {
            continue;
        }
        voxel_count += count.voxels;
        below += count.below;
        low = [low[0].min(count.low[0]), low[1].min(count.low[1]), low[2].min(z)];
        high = [high[0].max(count.high[0]), high[1].max(count.high[1]), high[2].max(z + 1)];
    }
    BoneRecord {
        label: bone as u8 + 1,
        name,
        voxel_count,
        volume_mm3: voxel_count as f64 * patch.grid.voxel_mm3(),
        below_threshold_fraction: f64::from(below) / voxel_count.max(1) as f64,
        touches: Vec::new(),
        bounds: [low, high],
        cut: (0..3).any(|a| low[a] == 0 || high[a] == patch.size[a]),
    }
}

#[derive(Clone)]
struct BoneCount {
    voxels: usize,
    below: u32,
    low: [usize; 2],
    high: [usize; 2],
}

struct SliceCount {
    bones: Vec<BoneCount>,
    /// Faces between two labels, by pair and axis.
    contacts: BTreeMap<((u8, u8), usize), usize>,
}

impl SliceCount {
    fn of(patch: &Patch<'_>, labels: &[u8], z: usize, bones: usize, threshold_hu: f32) -> Self {
        let none = BoneCount { voxels: 0, below: 0, low: [usize::MAX; 2], high: [0; 2] };
        let mut slice = Self { bones: vec![none; bones], contacts: BTreeMap::new() };
        for y in 0..patch.size[1] {
            slice.add_row(patch, labels, [y, z], threshold_hu);
        }
        slice
    }

    /// Run by run of one label.
    fn add_row(&mut self, patch: &Patch<'_>, labels: &[u8], [y, z]: [usize; 2], threshold_hu: f32) {
        let [columns, rows, slices] = patch.size;
        let row = z * rows + y;
        let line = |row: usize| &labels[row * columns..][..columns];
        let own = line(row);
        let next = [
            (1, (y + 1 < rows).then(|| line(row + 1))),
            (2, (z + 1 < slices).then(|| line(row + rows))),
        ];
        let mut from = 0;
        while from < columns {
            let label = own[from];
            let same = own[from..].iter().take_while(|other| **other == label).count();
            let run = from..from + same;
            from = run.end;
            if label == 0 {
                continue;
            }
            let hu = &patch.hu.row(row)[run.clone()];
            let below = hu.iter().map(|hu| u32::from(whole_or_nan(*hu) < threshold_hu));
            let bone = &mut self.bones[usize::from(label) - 1];
            bone.voxels += same;
            bone.below += below.sum::<u32>();
            bone.low = [bone.low[0].min(run.start), bone.low[1].min(y)];
            bone.high = [bone.high[0].max(run.end), bone.high[1].max(y + 1)];
            if let Some(other) = own.get(run.end) {
                self.meet(label, *other, 0);
            }
            for (axis, line) in next {
                let others = line.map_or(&[][..], |line| &line[run.clone()]);
                if any(others, |other| other != 0 && other != label) {
                    self.meet_all(label, others, axis);
                }
            }
        }
    }

    fn meet_all(&mut self, label: u8, others: &[u8], axis: usize) {
        for other in others {
            self.meet(label, *other, axis);
        }
    }

    #[inline]
    fn meet(&mut self, label: u8, other: u8, axis: usize) {
        if other != 0 && other != label {
            let pair = (label.min(other), label.max(other));
            *self.contacts.entry((pair, axis)).or_insert(0) += 1;
        }
    }
}
