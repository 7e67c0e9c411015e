//! One line about a series, for choosing.

use crate::facts::ScanFacts;
use crate::read::Intake;
use crate::reason::{Reason, Refusal};
use crate::series::{KernelClass, Placed, Verdict, Verdicts};

/// Least HU that is taken for metal, for choosing only: cortical bone stays
/// below 2000, and a 12-bit scale ends at 3071.
const METAL_HU: f64 = 3000.0;

/// What a reader needs to choose a series; no identity.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesSummary {
    /// Position in the list, from 1; what `--series` takes.
    pub ordinal: usize,
    /// Number of images.
    pub slices: usize,
    /// Columns, rows.
    pub matrix: [usize; 2],
    /// Distances between voxel centres along columns, rows, slices, mm.
    pub voxel_mm: Option<[f64; 3]>,
    /// Extent from first to last voxel centre, plus one voxel, mm.
    pub extent_mm: Option<[f64; 3]>,
    /// Extent along the body axis (head to foot), mm.
    pub body_extent_mm: Option<f64>,
    /// Tube voltage, kV.
    pub kvp: Option<f64>,
    /// Sharpness of the kernel.
    pub kernel_class: KernelClass,
    /// Whether the images are the scanner's own, not derived ones.
    pub original: bool,
    /// Whether contrast medium was given; `None` when nothing is stated.
    pub contrast: Option<bool>,
    /// Whether metal is in view, by saturation; `None` until pixels were read.
    pub metal: Option<bool>,
    /// Keyword of the attribute that tells this stack from another of the same
    /// series.
    pub told_apart_by: Option<&'static str>,
    /// Name of the transfer syntax, or of the file format.
    pub syntax: Option<&'static str>,
    /// Whether values were lost by compression.
    pub lossy: bool,
    /// For each purpose, whether the series serves it.
    pub verdicts: Verdicts,
    /// Every finding, also those that reserve nothing.
    pub findings: Vec<Reason>,
}

impl SeriesSummary {
    /// Whether Hounsfield units along a path can be had from it.
    pub fn is_usable(&self) -> bool {
        !matches!(self.verdicts.hu_along_path, Verdict::Refused(_))
    }

    /// The same after its pixels were read, or were found not to be readable.
    pub(crate) fn after_reading(&self, read: Result<&Intake, &Refusal>) -> Self {
        let mut summary = self.clone();
        match read {
            Ok(intake) => {
                summary.metal = Some(intake.facts.max_hu.is_some_and(|hu| hu >= METAL_HU));
                summary.verdicts = Verdicts::new(&[], &intake.findings);
                summary.findings.clone_from(&intake.findings);
            }
            Err(refusal) => summary.verdicts = Verdicts::new(&refusal.0, &self.findings),
        }
        summary
    }

    pub(crate) fn new(
        ordinal: usize,
        matrix: [usize; 2],
        facts: &ScanFacts,
        placed: Option<&Placed>,
        refusals: &[Reason],
        findings: &[Reason],
    ) -> Self {
        let voxel_mm = placed.map(|p| p.grid.spacing_mm());
        let size = placed.map(|p| p.grid.size());
        let extent_mm = voxel_mm
            .zip(size)
            .map(|(voxel, size)| std::array::from_fn(|axis| voxel[axis] * size[axis] as f64));
        Self {
            ordinal,
            slices: facts.slice_count,
            matrix,
            voxel_mm,
            extent_mm,
            body_extent_mm: placed.map(body_extent_mm),
            kvp: facts.kvp,
            kernel_class: facts.kernel_class,
            original: !facts.derived && !facts.reformatted,
            contrast: facts.contrast,
            metal: None,
            told_apart_by: None,
            syntax: facts.syntax,
            lossy: facts.lossy.is_some(),
            verdicts: Verdicts::new(refusals, findings),
            findings: findings.to_vec(),
        }
    }
}

/// Extent of the lattice along the patient's head-to-foot axis, mm.
fn body_extent_mm(placed: &Placed) -> f64 {
    let size = placed.grid.size();
    let ends = (0..8).map(|corner: usize| {
        let index =
            std::array::from_fn(|axis| if corner >> axis & 1 == 1 { size[axis] - 1 } else { 0 });
        placed.grid.centre_of(index).0[2]
    });
    let (low, high) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
    high - low
}
