//! Why a surface could not be made or changed.

/// Why a surface could not be made or changed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SurfaceError {
    /// A mask and the lattice it should lie on differ in size.
    #[error("the mask has {found:?} voxels along columns, rows, slices, the lattice {expected:?}")]
    MaskSize {
        /// Columns, rows, slices of the lattice.
        expected: [usize; 3],
        /// Columns, rows, slices of the mask.
        found: [usize; 3],
    },
    /// A region reaches out of its lattice.
    #[error("the region ends at voxel {to:?}, the lattice at {limit:?}")]
    Region {
        /// First voxel after the region, column, row, slice.
        to: [usize; 3],
        /// First voxel after the lattice.
        limit: [usize; 3],
    },
    /// A threshold is not a number.
    #[error("the threshold is {threshold}, expected a finite number")]
    Threshold {
        /// The refused threshold.
        threshold: f64,
    },
    /// The surface has more vertices than an index can count.
    #[error("the surface has {found} vertices, at most {limit} can be counted")]
    TooLarge {
        /// Vertices of the surface.
        found: u64,
        /// Most that are accepted.
        limit: u64,
    },
    /// A parameter is out of its range.
    #[error("{name} is {found}, expected {expected}")]
    Parameter {
        /// Name of the parameter.
        name: &'static str,
        /// The refused value.
        found: f64,
        /// The accepted range in words.
        expected: &'static str,
    },
    /// A changed surface is no longer closed.
    #[error("the changed surface is not closed: {0}")]
    NotClosed(#[from] crate::check::NotClosed),
}
