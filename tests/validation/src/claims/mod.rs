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
use std::sync::OnceLock;

use pilothole_study::{
    CaseError, CaseParams, Judged, Limits, PlanFile, judge_case, open, read_plan,
};
use pilothole_volume::Volume;

pub use repeat::{Halves, worst_of_a_plate_mm};
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
    /// Hears the title of each claim that was compared.
    pub told: fn(&str),
    /// The native pelvis, read once.
    native: OnceLock<Option<Volume>>,
    /// The plans on it, judged once, by side.
    judged: [OnceLock<Option<Judged>>; 2],
}

/// The native pelvis, below the folder of scans.
pub const NATIVE: &str = "pelvis_native_3mm/series.zip";
/// Its sides, as they stand in the names of its plans.
pub const SIDES: [&str; 2] = ["left", "right"];

impl World {
    /// The world of a checkout.
    pub fn of(root: &Path, scans: Option<PathBuf>) -> Self {
        Self {
            root: root.to_path_buf(),
            worked: Worked::read(root),
            scans,
            told: |_| (),
            native: OnceLock::new(),
            judged: [OnceLock::new(), OnceLock::new()],
        }
    }

    /// The voxels of the native pelvis; `None` where it is not at hand.
    ///
    /// # Panics
    ///
    /// When it is there and cannot be read.
    pub fn native(&self) -> Option<&Volume> {
        let read = || {
            let limits = Limits::default();
            let scan = open(&self.scans.as_ref()?.join(NATIVE), &limits)
                .and_then(|scan| scan.read(None, &limits))
                .unwrap_or_else(|refusal| panic!("{refusal:?}"));
            Some(scan.volume)
        };
        self.native.get_or_init(read).as_ref()
    }

    /// The plan file of a side of the native pelvis.
    ///
    /// # Panics
    ///
    /// When it is not sound.
    pub fn native_plan(&self, side: usize) -> PlanFile {
        let name = format!("fixtures/plans/pelvis-native-{}.toml", SIDES[side]);
        read_plan(&self.root.join(name)).expect("the plan is sound")
    }

    /// That plan judged; `None` where the scan is not at hand.
    ///
    /// # Panics
    ///
    /// When the scan is there and is refused.
    pub fn native_judged(&self, side: usize) -> Option<&Judged> {
        let judge = || {
            let scan = self.scans.as_ref()?.join(NATIVE);
            Some(judged(&scan, &self.native_plan(side)).expect("the scan is judged"))
        };
        self.judged[side].get_or_init(judge).as_ref()
    }
}

/// A plan judged on a scan without placement errors.
///
/// # Errors
///
/// As [`judge_case`].
pub fn judged(scan: &Path, plan: &PlanFile) -> Result<Judged, CaseError> {
    let params = CaseParams { samples: 0, ..CaseParams::timeless() };
    judge_case(scan, plan, &params, &|_| ())
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
    claims
        .iter()
        .map(|claim| {
            let section = claim(world);
            (world.told)(section.title);
            section
        })
        .collect()
}
