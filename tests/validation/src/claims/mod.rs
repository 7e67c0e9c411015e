//! The claims of the README, one file each.

mod angles;
mod cortex;
mod hostile;
mod hu;
mod length;
mod load;
mod positions;
mod registration;
mod repeat;
mod robust;
mod strength;
mod study;
mod surface;

use std::path::{Path, PathBuf};

use pilothole_study::{Limits, open};
use pilothole_volume::Volume;

pub use surface::both_ways as surface_both_ways;

use crate::row::Row;
use crate::worked::Worked;

/// What the claims are compared with.
#[derive(Debug)]
pub struct World {
    /// The root of the repository.
    pub root: PathBuf,
    /// Recorded values.
    pub worked: Worked,
    /// The folder of open scans, where it is at hand.
    pub scans: Option<PathBuf>,
}

impl World {
    /// The world of a checkout.
    pub fn of(root: &Path, scans: Option<PathBuf>) -> Self {
        Self { root: root.to_path_buf(), worked: Worked::read(root), scans }
    }

    /// The voxels of an open scan; `None` where it is not at hand.
    ///
    /// # Panics
    ///
    /// When it is there and cannot be read.
    pub fn volume(&self, name: &str) -> Option<Volume> {
        let limits = Limits::default();
        let scan = open(&self.scans.as_ref()?.join(name), &limits)
            .and_then(|scan| scan.read(None, &limits))
            .unwrap_or_else(|refusal| panic!("{name}: {refusal:?}"));
        Some(scan.volume)
    }
}

/// A claim with its rows.
#[derive(Clone, Debug)]
pub struct Section {
    /// Heading.
    pub title: &'static str,
    /// What the README says, and how it was compared.
    pub claim: String,
    /// Heads of the rows' figures.
    pub heads: Vec<&'static str>,
    /// Comparisons.
    pub rows: Vec<Row>,
    /// What a reader must know beside the figures.
    pub remarks: String,
}

/// Every claim, compared.
pub fn sections(world: &World) -> Vec<Section> {
    let claims: [fn(&World) -> Section; 13] = [
        positions::section,
        hu::section,
        surface::section,
        cortex::section,
        strength::section,
        angles::section,
        load::section,
        registration::section,
        robust::section,
        length::section,
        study::section,
        repeat::section,
        hostile::section,
    ];
    claims.iter().map(|claim| claim(world)).collect()
}
