//! One case: a scan and a plan in, a judged set of holes out.

use std::path::Path;

use pilothole_assess::cortex::CortexModel;
use pilothole_assess::robust::robust_set;
use pilothole_assess::set::{SetParams, SetResult, judge_set};
use pilothole_assess::{Finding, HoleResult, Scene, judge_holes};
use pilothole_bone::{BONE_THRESHOLD_HU, BoneParams, Bones, find_bones, suggest_cement};
use pilothole_intake::{self as intake, Intake};
use pilothole_plan::Plan;
use pilothole_report::{Case, Record};
use pilothole_surface::ClosedSurface;
use pilothole_volume::{Mask, Region};

use crate::calibrate::{Calibrated, calibrate};
use crate::error::CaseError;
use crate::hints::{hints_of, hip_bone};
use crate::hold::{hold, robust_params};
use crate::parameters::parameters;
use crate::params::CaseParams;
use crate::plan_file::PlanFile;
use crate::reason::Reason;
use crate::records;
use crate::region::region_of;
use crate::wrap::wrap;

/// Where a case has got to, for whoever waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Reading the scan.
    Reading,
    /// Finding the bones.
    Bones,
    /// Measuring the holes.
    Holes,
    /// Judging the set.
    Set,
    /// Wrapping the bone's surface.
    Surface,
    /// Drawing the report.
    Report,
}

impl Stage {
    /// All, in order.
    pub const ALL: [Self; 6] =
        [Self::Reading, Self::Bones, Self::Holes, Self::Set, Self::Surface, Self::Report];

    /// What it does, for a person.
    pub fn words(self) -> &'static str {
        match self {
            Self::Reading => "reading the scan",
            Self::Bones => "finding the bones",
            Self::Holes => "measuring the holes",
            Self::Set => "judging the set",
            Self::Surface => "wrapping the bone",
            Self::Report => "drawing the report",
        }
    }
}

/// A scan with its bones, ready to be judged.
#[derive(Debug)]
pub struct Prepared {
    /// The scan.
    pub intake: Intake,
    /// Its bones, around the socket.
    pub bones: Bones,
    /// Metal, artefact zones and saturated voxels together.
    pub untrusted: Mask,
    /// Where cement may be; a suggestion.
    pub cement: Mask,
    /// Blur and cortex of the scan; `None` where the blur cannot be measured.
    pub cortex: Option<CortexModel>,
}

impl Prepared {
    /// Read a scan and find the bones that a plan is about.
    ///
    /// # Errors
    ///
    /// [`CaseError::Scan`] and [`CaseError::Plan`].
    pub fn read(
        scan: &Path,
        plan: &Plan,
        params: &CaseParams,
        told: &dyn Fn(Stage),
    ) -> Result<Self, CaseError> {
        told(Stage::Reading);
        let intake = intake::open(scan, &params.limits)?.read(params.series, &params.limits)?;
        let region = region_of(plan, &intake.volume).map_err(CaseError::Plan)?;
        told(Stage::Bones);
        Self::find(intake, region, plan, params)
    }

    fn find(
        intake: Intake,
        region: Region,
        plan: &Plan,
        params: &CaseParams,
    ) -> Result<Self, CaseError> {
        let bone_params = BoneParams {
            threshold_hu: threshold_hu(plan, params),
            hips: hints_of(plan),
            ..BoneParams::default()
        };
        let bones = find_bones(&intake.volume, region, &bone_params)
            .map_err(|error| CaseError::Plan(vec![Reason::new("plan.range", error.to_string())]))?;
        let untrusted = union(&[&bones.metal, &bones.saturated, &bones.artefact]);
        let cement = suggest_cement(&intake.volume, &bones);
        let mut prepared = Self { intake, bones, untrusted, cement, cortex: None };
        let (bones, kvp) = (&prepared.bones, prepared.intake.facts.kvp);
        prepared.cortex = CortexModel::find(&prepared.scene(), bones, kvp, &params.judge.path);
        Ok(prepared)
    }

    /// What holes are judged against.
    pub fn scene(&self) -> Scene<'_> {
        Scene {
            volume: &self.intake.volume,
            field: &self.bones.field,
            labels: &self.bones.labels,
            metal: &self.bones.metal,
            cement: &self.cement,
            untrusted: &self.untrusted,
            threshold_hu: self.bones.threshold_hu,
            cortex: self.cortex.as_ref(),
        }
    }
}

/// The threshold in use: the flag's, else the plan's, else the default.
pub(crate) fn threshold_hu(plan: &Plan, params: &CaseParams) -> f64 {
    params.threshold_hu.or(plan.bone.threshold_hu).unwrap_or(BONE_THRESHOLD_HU)
}

fn union(masks: &[&Mask]) -> Mask {
    let mut all = Mask::none(masks[0].size());
    for mask in masks {
        let words = all.words_mut().iter_mut().zip(mask.words());
        words.filter(|(_, other)| **other != 0).for_each(|(word, other)| *word |= other);
    }
    all
}

/// A judged case.
#[derive(Debug)]
pub struct Judged {
    /// The scan and its bones.
    pub prepared: Prepared,
    /// Each hole, in the plan's order.
    pub holes: Vec<HoleResult>,
    /// The set.
    pub set: SetResult,
    /// HU to density.
    pub calibrated: Calibrated,
    /// The surface of the bones; `None` with a finding where it is not closed.
    pub surface: Option<ClosedSurface>,
    /// Reservations about scan, bones and set.
    pub findings: Vec<Finding>,
}

/// Judge a plan on a scan: read, find the bones, measure each hole, judge the
/// set, wrap the bone.
///
/// # Errors
///
/// [`CaseError::Scan`] and [`CaseError::Plan`] with every reason.
pub fn judge_case(
    scan: &Path,
    file: &PlanFile,
    params: &CaseParams,
    told: &dyn Fn(Stage),
) -> Result<Judged, CaseError> {
    let plan = &file.plan;
    let prepared = Prepared::read(scan, plan, params, told)?;
    judge_prepared(prepared, file, params, told)
}

/// Judge a plan on a scan whose bones are known.
fn judge_prepared(
    prepared: Prepared,
    file: &PlanFile,
    params: &CaseParams,
    told: &dyn Fn(Stage),
) -> Result<Judged, CaseError> {
    let plan = &file.plan;
    told(Stage::Holes);
    let scene = prepared.scene();
    let mut holes = judge_holes(&scene, plan, &params.judge);
    for hole in &mut holes {
        hole.findings.extend(records::guessed_border(&prepared, hole));
    }
    let calibrated = calibrate(plan, &prepared.intake, params)?;
    hold(&scene, plan, &mut holes, &calibrated, params);
    told(Stage::Set);
    let mut set = judge_set(&scene, plan, &holes, &set_params(file, &calibrated));
    set.robust = (params.samples > 0)
        .then(|| robust_set(&scene, plan, &holes, &robust_params(plan, params)));
    set.findings = set.findings.into_iter().map(|f| records::named(&prepared, f)).collect();
    told(Stage::Surface);
    let mut findings = records::findings_of_scan(&prepared, hip_bone(plan));
    findings.extend(calibrated.finding());
    findings.extend(set.findings.iter().cloned());
    let surface = match wrap(&prepared.bones) {
        Ok(surface) => Some(surface),
        Err(error) => {
            findings.push(Finding::new("surface.open", error));
            None
        }
    };
    Ok(Judged { prepared, holes, set, calibrated, surface, findings })
}

/// How the set is judged: with the component that the plan names, and moduli
/// by the scan's own line from HU to density where it is one of hydroxyapatite.
pub(crate) fn set_params(file: &PlanFile, calibrated: &Calibrated) -> SetParams {
    let mut asked = SetParams { part: file.part.clone(), ..SetParams::OWN };
    if let Some(line) = calibrated.line() {
        asked.load.modulus.ha_per_hu = line.slope;
        asked.load.modulus.ha_at_zero = line.intercept;
    }
    asked
}

impl Judged {
    /// What the report is made from, but for the chart that its page shows.
    pub fn case<'a>(&'a self, plan: &'a Plan, params: &CaseParams) -> Case<'a> {
        Case {
            scan: records::scan_record(&self.prepared.intake),
            plan,
            scene: self.prepared.scene(),
            holes: &self.holes,
            set: Some(&self.set),
            bones: records::bones_record(&self.prepared, self.surface.as_ref()),
            calibration: Some(self.calibrated.record()),
            parameters: parameters(plan, params, &self.prepared),
            findings: self.findings.clone(),
            surface: self.surface.as_ref(),
            chart: None,
            written_at: params.written_at.clone(),
            tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }

    /// The record that `report.json` holds.
    pub fn record(&self, plan: &Plan, params: &CaseParams) -> Record {
        pilothole_report::record(&self.case(plan, params))
    }

    /// Judge another plan on the same scan and bones.
    ///
    /// # Errors
    ///
    /// As [`judge_case`], of the plan alone.
    pub fn rejudged(self, file: &PlanFile, params: &CaseParams) -> Result<Self, CaseError> {
        judge_prepared(self.prepared, file, params, &|_: Stage| ())
    }
}
