//! Which line takes Hounsfield units to density.

use pilothole_assess::Finding;
use pilothole_assess::strength::DensityLine;
use pilothole_bone::density::{Calibration, CalibrationSource, Insert, Mineral, find_references};
use pilothole_intake::Intake;
use pilothole_plan::{Calibration as Wish, CalibrationMaterial, Insert as InsertWish, Plan};
use pilothole_report::CalibrationRecord;
use pilothole_volume::{Annulus, Direction, Quadrature, Volume, sample_annulus};

use crate::error::CaseError;
use crate::params::CaseParams;
use crate::reason::Reason;

/// Radius of an insert of which the plan states none, mm: half of the 12 mm
/// that rods of common density phantoms measure; own choice.
const INSERT_RADIUS_MM: f64 = 3.0;

/// A calibration, and where it was asked for.
#[derive(Clone, Debug)]
pub struct Calibrated {
    /// The line.
    pub calibration: Calibration,
    /// `flag`, `plan`, `inserts`, `references` or `assumed`.
    pub from: &'static str,
}

/// The line in use: the flag's, else the plan's, else the typical one of the
/// tube voltage brought to the patient's own air, fat and muscle, else the
/// typical one as it is. The last two are findings.
///
/// # Errors
///
/// `plan.range` when the plan's inserts give no line or lie outside the scan.
pub fn calibrate(
    plan: &Plan,
    intake: &Intake,
    params: &CaseParams,
) -> Result<Calibrated, CaseError> {
    let refuse = |text: String| CaseError::Plan(vec![Reason::new("plan.range", text)]);
    let stated = |slope, intercept, mineral| {
        Calibration::stated(slope, intercept, mineral).map_err(|error| refuse(error.to_string()))
    };
    if let Some([slope, intercept]) = params.calibration {
        let calibration = stated(slope, intercept, Mineral::Hydroxyapatite)?;
        return Ok(Calibrated { calibration, from: "flag" });
    }
    match &plan.calibration {
        Some(Wish::Line { material, slope, intercept }) => {
            let calibration = stated(*slope, *intercept, mineral(*material))?;
            Ok(Calibrated { calibration, from: "plan" })
        }
        Some(Wish::Inserts { material, inserts }) => {
            let measured: Vec<Insert> = inserts
                .iter()
                .map(|insert| measure(&intake.volume, insert))
                .collect::<Option<_>>()
                .ok_or_else(|| refuse("an insert lies outside the scan".to_owned()))?;
            let calibration = Calibration::from_inserts(&measured, mineral(*material))
                .map_err(|error| refuse(format!("the inserts give no line: {error}")))?;
            Ok(Calibrated { calibration, from: "inserts" })
        }
        None => {
            let kvp = intake.facts.kvp;
            if let Some(calibration) = kvp.and_then(|kvp| by_references(&intake.volume, kvp)) {
                return Ok(Calibrated { calibration, from: "references" });
            }
            let calibration = Calibration::assumed(kvp)
                .or_else(|_out_of_table| Calibration::assumed(None))
                .map_err(|error| CaseError::Failed(error.to_string()))?;
            Ok(Calibrated { calibration, from: "assumed" })
        }
    }
}

/// The patient's own air, fat and muscle; `None` unless all three are found and
/// lie on one line.
fn by_references(volume: &Volume, kvp: f64) -> Option<Calibration> {
    let found = find_references(volume);
    (found.len() == ALL_REFERENCES)
        .then(|| Calibration::from_references(&found, kvp).ok())
        .flatten()
}

/// Air, fat, muscle.
const ALL_REFERENCES: usize = 3;

fn mineral(material: CalibrationMaterial) -> Mineral {
    match material {
        CalibrationMaterial::Ha => Mineral::Hydroxyapatite,
        CalibrationMaterial::K2hpo4 => Mineral::DipotassiumPhosphate,
    }
}

/// Mean over a short cylinder in the insert; `None` outside the scan.
fn measure(volume: &Volume, insert: &InsertWish) -> Option<Insert> {
    let radius_mm = insert.radius_mm.unwrap_or(INSERT_RADIUS_MM);
    let tube = Annulus {
        origin: insert.at,
        axis: Direction::SUPERIOR,
        from_mm: -radius_mm,
        to_mm: radius_mm,
        inner_mm: 0.0,
        outer_mm: radius_mm,
    };
    let samples = sample_annulus(volume, &tube, Quadrature { step_mm: 0.5, across_mm: 0.5 });
    let hu = samples.iter().map(|s| s.hu).sum::<f64>() / samples.len() as f64;
    hu.is_finite().then_some(Insert { hu, density: insert.density_mg_cm3 })
}

impl Calibrated {
    /// The line as strength takes it; `None` where the mineral is not
    /// hydroxyapatite, since no law is stated in another.
    pub fn line(&self) -> Option<DensityLine> {
        let line = &self.calibration;
        (line.mineral == Mineral::Hydroxyapatite).then(|| DensityLine {
            slope: line.slope,
            intercept: line.intercept,
            slope_sd: line.uncertainty.slope_sd,
            intercept_sd: line.uncertainty.intercept_sd,
            valid_hu: line.hu_range.unwrap_or([f64::NEG_INFINITY, f64::INFINITY]),
            source: self.words(),
        })
    }

    /// Where the line comes from, in a sentence.
    pub fn words(&self) -> String {
        match &self.calibration.source {
            CalibrationSource::Inserts { r_squared, .. } => {
                format!("Inserts of known density in the scan, R² {r_squared:.4}.")
            }
            CalibrationSource::Stated => "Slope and intercept stated by the site.".to_owned(),
            CalibrationSource::References { kvp, .. } => {
                format!(
                    "Typical line of {kvp:.0} kVp, brought to the patient's own air, fat and muscle."
                )
            }
            CalibrationSource::Assumed { kvp: Some(kvp) } => {
                format!("Typical line of {kvp:.0} kVp, not of this scanner.")
            }
            _ => "Typical line of 120 kVp; the scan's tube voltage is not known, so its band holds 80 to 140 kVp.".to_owned(),
        }
    }

    /// As the report words it.
    pub fn record(&self) -> CalibrationRecord {
        let line = &self.calibration;
        let known = line.uncertainty.intercept_sd > 0.0;
        CalibrationRecord {
            slope: line.slope,
            intercept: line.intercept,
            material: match line.mineral {
                Mineral::Hydroxyapatite => "HA",
                Mineral::DipotassiumPhosphate => "K2HPO4",
            }
            .to_owned(),
            from: self.from.to_owned(),
            source: self.words(),
            se_mg_cm3: known.then(|| line.density(REPORTED_AT_HU).sd_mg_cm3),
            slope_se: known.then_some(line.uncertainty.slope_sd),
            intercept_se: known.then_some(line.uncertainty.intercept_sd),
            covariance: known.then_some(line.uncertainty.covariance),
        }
    }

    /// What a reader must know about it.
    pub fn finding(&self) -> Option<Finding> {
        match &self.calibration.source {
            CalibrationSource::Assumed { .. } => Some(Finding::new(
                "calibration.assumed",
                format!("{} Densities and strengths carry its wide band.", self.words()),
            )),
            CalibrationSource::References { residuals_hu, .. } => {
                let worst = residuals_hu.iter().fold(0.0_f64, |most, hu| most.max(hu.abs()));
                let text = format!(
                    "No density phantom: {} Densities and strengths carry the band of a typical line.",
                    self.words()
                );
                Some(Finding::new("calibration.references", text).measured(worst, None, "HU"))
            }
            _ => None,
        }
    }
}

/// Where the standard error of a density is told, HU: soft bone of a socket's
/// roof beside a prosthesis has a median of 123 HU (Boomsma et al., confirmed).
const REPORTED_AT_HU: f64 = 123.0;
