//! Getting a plan, and looking whether it is sound.

use std::path::Path;

use pilothole_intake as intake;
use pilothole_plan::{NewPlan, import_plan, new_plan};
use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::error::CaseError;
use crate::params::CaseParams;
use crate::plan_file::{read_plan, read_text};
use crate::reason::Reason;
use crate::region::region_of;

pub use pilothole_plan::{Frame, Side};

/// Largest table of holes that is read, bytes.
const MAX_TABLE_BYTES: u64 = 4 << 20;

/// A first plan around a socket, as commented TOML.
///
/// # Errors
///
/// [`CaseError::Usage`] for an axis without length; [`CaseError::Plan`] when a
/// number is out of range or the centre lies outside the scan.
pub fn first_plan(
    scan: &Path,
    side: Side,
    [centre_mm, axis]: [[f64; 3]; 2],
    outer_diameter_mm: f64,
    params: &CaseParams,
) -> Result<String, CaseError> {
    let axis = Direction::along(Offset(axis))
        .ok_or_else(|| CaseError::Usage("the axis has no length".to_owned()))?;
    let centre = PatientPoint(centre_mm);
    let text = new_plan(&NewPlan { side, centre, axis, outer_diameter_mm })?;
    let read = intake::open(scan, &params.limits)?.read(params.series, &params.limits)?;
    let grid = read.volume.grid();
    if grid.holds(grid.voxel_from_patient(centre)) {
        Ok(text)
    } else {
        Err(CaseError::Plan(vec![Reason::new(
            "plan.outside_scan",
            "the socket's centre lies outside the scan",
        )]))
    }
}

/// What an import answers: the plan, and how well the frame fitted.
#[derive(Clone, Debug)]
pub struct ImportedPlan {
    /// The plan as TOML.
    pub toml: String,
    /// Largest and root mean square residual of paired points, mm.
    pub residuals_mm: Option<[f64; 2]>,
}

/// Add the holes of a table to a plan.
///
/// # Errors
///
/// [`CaseError::Plan`] with every problem.
pub fn imported_plan(table: &Path, base: &Path, frame: &Frame) -> Result<ImportedPlan, CaseError> {
    let base = read_text(base, MAX_TABLE_BYTES, "plan.syntax", "the plan file")?;
    let table = read_text(table, MAX_TABLE_BYTES, "plan.syntax", "the table of holes")?;
    let imported = import_plan(&base, &table, frame)?;
    let residuals_mm = imported.fit.as_ref().map(|fit| {
        let worst = fit.residuals_mm.iter().copied().fold(0.0, f64::max);
        [worst, fit.rms_mm]
    });
    Ok(ImportedPlan { toml: imported.plan.resolved_toml(), residuals_mm })
}

/// A frame from nine-column text: 16 numbers are a 4×4 matrix by rows, rows of
/// six are paired points (table x y z, plan x y z).
///
/// # Errors
///
/// [`CaseError::Usage`] when it is neither.
pub fn read_frame(path: &Path) -> Result<Frame, CaseError> {
    let usage = |text: &str| CaseError::Usage(text.to_owned());
    let text = read_text(path, MAX_TABLE_BYTES, "plan.syntax", "the frame file")?;
    let rows: Vec<Vec<f64>> = text
        .lines()
        .map(|line| line.split('#').next().unwrap_or_default().trim())
        .filter(|line| !line.is_empty())
        .map(|line| {
            line.split([',', ' ', '\t', ';'])
                .filter(|cell| !cell.is_empty())
                .map(str::parse)
                .collect::<Result<_, _>>()
        })
        .collect::<Result<_, _>>()
        .map_err(|_number| usage("the frame file holds something that is no number"))?;
    if rows.len() == 4 && rows.iter().all(|row| row.len() == 4) {
        let mut matrix = [[0.0; 4]; 4];
        for (to, row) in matrix.iter_mut().zip(&rows) {
            to.copy_from_slice(row);
        }
        return Ok(Frame::Matrix(matrix));
    }
    if rows.len() >= 3 && rows.iter().all(|row| row.len() == 6) {
        let pairs = rows
            .iter()
            .map(|row| {
                let point = |at: usize| PatientPoint([row[at], row[at + 1], row[at + 2]]);
                (point(0), point(3))
            })
            .collect();
        return Ok(Frame::Pairs(pairs));
    }
    Err(usage("the frame file is neither four rows of four numbers nor three or more rows of six"))
}

/// What a sound plan says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SoundPlan {
    /// The operated hip.
    pub side: Side,
    /// How many holes.
    pub holes: usize,
    /// How many landmarks.
    pub landmarks: usize,
    /// Whether every seat was looked for, and found, in a scan.
    pub in_scan: bool,
}

impl SoundPlan {
    /// In a sentence.
    pub fn words(&self) -> String {
        let in_scan = if self.in_scan { "; every seat lies in the scan" } else { "" };
        let (side, holes, landmarks) = (self.side.word(), self.holes, self.landmarks);
        format!("sound: {side} hip, {holes} holes, {landmarks} landmarks{in_scan}")
    }

    /// As JSON; `in_scan` is null where no scan was given.
    pub fn json(&self) -> String {
        serde_json::json!({
            "sound": true,
            "side": self.side.word(),
            "holes": self.holes,
            "landmarks": self.landmarks,
            "in_scan": self.in_scan.then_some(true),
        })
        .to_string()
    }
}

/// Look whether a plan is sound, and lies in a scan where one is given.
///
/// # Errors
///
/// [`CaseError`] with everything that is wrong.
pub fn check_plan(
    plan: &Path,
    scan: Option<&Path>,
    params: &CaseParams,
) -> Result<SoundPlan, CaseError> {
    let file = read_plan(plan)?;
    let plan = &file.plan;
    if let Some(scan) = scan {
        let read = intake::open(scan, &params.limits)?.read(params.series, &params.limits)?;
        region_of(plan, &read.volume).map_err(CaseError::Plan)?;
    }
    Ok(SoundPlan {
        side: plan.side,
        holes: plan.holes.len(),
        landmarks: plan.landmarks.len(),
        in_scan: scan.is_some(),
    })
}
