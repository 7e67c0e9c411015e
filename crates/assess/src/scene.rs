//! What a hole is judged against: the scan, and what its numbers mean.

use crate::cortex::CortexModel;
use pilothole_volume::{
    Field, Grid, Labels, Mask, PatientPoint, Volume, VoxelPoint, nearest_voxel,
};

/// A scan and its bones, on the lattice of the region around the socket.
///
/// `field`, `labels` and the masks all lie on `field.grid()`.
#[derive(Clone, Copy, Debug)]
pub struct Scene<'a> {
    /// The whole scan, HU.
    pub volume: &'a Volume,
    /// Positive inside any bone, zero at the envelope's surface, about mm.
    pub field: &'a Field,
    /// One label a bone, 0 outside the envelope; positive field, and only
    /// there, has a label.
    pub labels: &'a Labels,
    /// Metal.
    pub metal: &'a Mask,
    /// Bone cement, as far as it can be told.
    pub cement: &'a Mask,
    /// Where Hounsfield units are not to be trusted: metal, saturated voxels,
    /// artefact zones.
    pub untrusted: &'a Mask,
    /// Bone threshold in use, HU.
    pub threshold_hu: f64,
    /// What plates are fitted with; without it ends lie halfway.
    pub cortex: Option<&'a CortexModel>,
}

impl<'a> Scene<'a> {
    /// Lattice of the region.
    #[inline]
    pub fn grid(&self) -> &'a Grid {
        self.field.grid()
    }

    /// Signed depth in any bone, about mm near the surface; not-a-number
    /// outside the region.
    #[inline]
    pub fn depth_or_nan(&self, at: PatientPoint) -> f64 {
        self.field.sample_or_nan(at)
    }

    /// Signed depth in one bone, other bones counting as outside.
    #[inline]
    pub fn depth_in_or_nan(&self, bone: u8, at: PatientPoint) -> f64 {
        self.depth_in_voxel_or_nan(bone, self.grid().voxel_from_patient(at))
    }

    /// As [`Scene::depth_in_or_nan`], at a lattice position of the region.
    #[inline]
    pub fn depth_in_voxel_or_nan(&self, bone: u8, at: VoxelPoint) -> f64 {
        let labels = self.labels.values();
        self.field.sample_changed_or_nan(at, |i, depth| {
            if labels[i] == 0 || labels[i] == bone { depth } else { -depth }
        })
    }

    /// The bone whose voxel holds a position; 0 outside the envelope, `None`
    /// outside the region.
    #[inline]
    pub fn bone_at(&self, at: PatientPoint) -> Option<u8> {
        nearest_voxel(self.grid(), at).map(|index| self.labels.at(index))
    }
}
