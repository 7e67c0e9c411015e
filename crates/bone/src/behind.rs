//! Where a hip bone's faint walls are followed: above and behind its hip centre,
//! where its medial cortex behind the sacroiliac joint hardly shows. Elsewhere
//! muscles, nerves and vessels make sheets of their own.

use pilothole_volume::{Offset, PatientPoint};

use crate::params::BoneName;
use crate::patch::Patch;
use crate::separate::Hip;

/// How far behind and above a hip centre faint walls are followed, mm. Own
/// choice: on an open scan the sacroiliac joint lies 40 to 85 mm behind and 30
/// to 110 mm above.
const FROM_MM: [f64; 2] = [40.0, 45.0];

/// The places behind the hips of a region.
pub(crate) struct Behind<'a> {
    patch: &'a Patch<'a>,
    /// Owner of each hip bone's walls, and its hip centre.
    hips: Vec<(u8, PatientPoint)>,
}

impl<'a> Behind<'a> {
    /// - `names`: of the bones by owner from 1.
    pub(crate) fn of(patch: &'a Patch<'a>, hips: &[Hip], names: &[Option<BoneName>]) -> Self {
        let own = |hip: &Hip| {
            let bone = names.iter().position(|name| *name == Some(hip.joint.side.hip()))?;
            Some((bone as u8 + 1, hip.joint.centre))
        };
        Self { patch, hips: hips.iter().filter_map(own).collect() }
    }

    /// Whether the walls of an owner are followed to a voxel's index.
    pub(crate) fn holds(&self, owner: u8, index: [usize; 3]) -> bool {
        let mut own = self.hips.iter().filter(|(bone, _)| *bone == owner);
        own.any(|(_, centre)| is_behind(self.patch.centre(index) - *centre))
    }

    /// Whether a row of the region may hold such a place.
    pub(crate) fn reaches(&self, row: usize) -> bool {
        let [columns, rows, _] = self.patch.size;
        let ends = [0, columns - 1].map(|x| self.patch.centre([x, row % rows, row / rows]));
        self.hips.iter().any(|(_, centre)| {
            let [a, b] = ends.map(|end| end - *centre);
            is_behind(Offset(std::array::from_fn(|axis| a.0[axis].max(b.0[axis]))))
        })
    }
}

fn is_behind(offset: Offset) -> bool {
    offset.0[1] > FROM_MM[0] && offset.0[2] > FROM_MM[1]
}
