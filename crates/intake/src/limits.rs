//! How much a scan may cost before it is refused.

/// Bounds on what an input may ask for; each is checked before memory is
/// asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Most files looked at, entries of archives included. 20,000: a study of
    /// ten thin series; doubling it doubles the time to a refusal.
    pub max_files: usize,
    /// Most bytes of one file, inflated where it is packed. 4 GiB: an enhanced
    /// object of 8,000 slices of 512².
    pub max_file_bytes: u64,
    /// Most bytes that archives may inflate to, in all. 8 GiB: never held at
    /// once, except for `.tar.gz`.
    pub max_unpacked_bytes: u64,
    /// Most bytes held in memory for packed input: an archive itself, and the
    /// inflated content of a `.tar.gz`. 2 GiB.
    pub max_held_bytes: u64,
    /// Largest ratio of inflated to packed bytes, once more than
    /// `ratio_from_bytes` are inflated. 400: an image of real noise packs to about 2, a phantom
    /// without noise to 300, deflate's own bound is 1,032.
    pub max_ratio: f64,
    /// Below this many inflated bytes the ratio is not judged. 256 MiB.
    pub ratio_from_bytes: u64,
    /// Most bytes of a file that come before its pixels. 64 MiB.
    pub max_header_bytes: usize,
    /// Most elements of a file's header, items counted. 400,000: an enhanced
    /// object of 4,000 frames of 100 elements.
    pub max_elements: usize,
    /// Deepest nesting of sequences. 32: objects in use reach 8.
    pub max_depth: usize,
    /// Most voxels of a volume. 2³⁰: 512 × 512 × 4,096, 2 GiB of 16 bits.
    pub max_voxels: usize,
    /// Fewest slices of a volume. 4: three steps are the fewest whose median
    /// one gap cannot move, so with less a missing slice would not be noticed.
    pub min_slices: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_files: 20_000,
            max_file_bytes: 4 << 30,
            max_unpacked_bytes: 8 << 30,
            max_held_bytes: 2 << 30,
            max_ratio: 400.0,
            ratio_from_bytes: 256 << 20,
            max_header_bytes: 64 << 20,
            max_elements: 400_000,
            max_depth: 32,
            max_voxels: 1 << 30,
            min_slices: 4,
        }
    }
}
