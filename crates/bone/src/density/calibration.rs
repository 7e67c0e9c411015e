//! HU to mineral density by a straight line, and how well the line is known.

use super::kvp::{ha_hu_per_mg, reference_hu, unknown_kvp_sd};

/// The mineral a density is stated in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mineral {
    /// Calcium hydroxyapatite, HA.
    Hydroxyapatite,
    /// Dipotassium phosphate, K2HPO4. One mg of it is not one mg of HA:
    /// 0.86 (80 kVp) and 0.81 (140 kVp) on one scanner (Goodsitt 1992), so a
    /// conversion needs the factor of the phantom at hand.
    DipotassiumPhosphate,
}

/// A line from HU to density: density = slope · HU + intercept.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// mg/cm³ per HU.
    pub slope: f64,
    /// mg/cm³ at 0 HU.
    pub intercept: f64,
    /// How well the two are known.
    pub uncertainty: Uncertainty,
    /// HU between which the line was established; `None` where it is not known.
    pub hu_range: Option<[f64; 2]>,
    /// The mineral of the densities.
    pub mineral: Mineral,
    /// Where the line comes from.
    pub source: CalibrationSource,
}

/// Standard deviations of a line and the covariance of its two numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Uncertainty {
    /// Of the slope, mg/cm³ per HU.
    pub slope_sd: f64,
    /// Of the intercept, mg/cm³.
    pub intercept_sd: f64,
    /// Covariance of the two.
    pub covariance: f64,
}

/// Where a calibration comes from.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum CalibrationSource {
    /// Inserts of known density in the scan.
    Inserts {
        /// Coefficient of determination.
        r_squared: f64,
        /// Known minus fitted density of each insert, mg/cm³, in their order.
        residuals: Vec<f64>,
    },
    /// Slope and intercept given by the site.
    Stated,
    /// Air, fat, muscle of the patient brought to their expected HU, then the
    /// typical line of the tube voltage.
    References {
        /// Tube voltage, kVp.
        kvp: f64,
        /// HU found minus HU expected of each reference, in their order.
        residuals_hu: Vec<f64>,
    },
    /// The typical line of the tube voltage, with a wide band: a finding.
    Assumed {
        /// Tube voltage, kVp; `None` when the scan does not tell, then 120 is
        /// taken with a band that spans 80 to 140.
        kvp: Option<f64>,
    },
}

/// An insert of known density.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Insert {
    /// Its mean HU in the scan.
    pub hu: f64,
    /// Its density, mg/cm³.
    pub density: f64,
}

/// A tissue of known HU.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReferenceMaterial {
    /// Air outside the body, or in bowel.
    Air,
    /// Subcutaneous fat.
    Fat,
    /// Skeletal muscle.
    Muscle,
}

/// A reference measured in the scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// What it is.
    pub material: ReferenceMaterial,
    /// Its mean HU in the scan.
    pub hu: f64,
}

/// A density with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Density {
    /// mg/cm³ of the calibration's mineral; not held to zero or above.
    pub mg_cm3: f64,
    /// Standard deviation from the calibration alone, mg/cm³.
    pub sd_mg_cm3: f64,
    /// Whether the HU lie outside the range of the calibration.
    pub extrapolated: bool,
}

/// Spread of the typical slope: half of the way from the computed 0.71 to
/// 0.78 (20 to 30 cm of water) to the 0.9 that scanners show, relative.
const TYPICAL_SLOPE_SD: f64 = 0.09;
/// Spread of the typical intercept, mg/cm³: marrow from red to yellow moves the
/// base by 70 HU in all.
const TYPICAL_INTERCEPT_SD: f64 = 15.0;

impl Calibration {
    /// Line through inserts by ordinary least squares.
    ///
    /// # Errors
    ///
    /// [`CalibrationRefused`] with fewer than three inserts, HU that do not
    /// differ, a line that falls, or R² below 0.99.
    pub fn from_inserts(inserts: &[Insert], mineral: Mineral) -> Result<Self, CalibrationRefused> {
        if inserts.len() < 3 {
            return Err(CalibrationRefused::Inserts { found: inserts.len(), least: 3 });
        }
        let points: Vec<(f64, f64)> = inserts.iter().map(|i| (i.hu, i.density)).collect();
        let line = Line::through(&points)?;
        if line.slope <= 0.0 {
            return Err(CalibrationRefused::Falls { slope: line.slope });
        }
        if line.r_squared < 0.99 {
            return Err(CalibrationRefused::Scatter { r_squared: line.r_squared, least: 0.99 });
        }
        let low = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
        Ok(Self {
            slope: line.slope,
            intercept: line.intercept,
            uncertainty: line.uncertainty,
            hu_range: Some([low, high]),
            mineral,
            source: CalibrationSource::Inserts {
                r_squared: line.r_squared,
                residuals: line.residuals,
            },
        })
    }

    /// Line stated by the site, taken at its word: no uncertainty is known.
    ///
    /// # Errors
    ///
    /// [`CalibrationRefused::Falls`] unless the slope is positive and finite,
    /// [`CalibrationRefused::NotFinite`] for the intercept.
    pub fn stated(
        slope: f64,
        intercept: f64,
        mineral: Mineral,
    ) -> Result<Self, CalibrationRefused> {
        if !(slope > 0.0 && slope.is_finite()) {
            return Err(CalibrationRefused::Falls { slope });
        }
        if !intercept.is_finite() {
            return Err(CalibrationRefused::NotFinite { intercept });
        }
        Ok(Self {
            slope,
            intercept,
            uncertainty: Uncertainty::default(),
            hu_range: None,
            mineral,
            source: CalibrationSource::Stated,
        })
    }

    /// Typical HA line of a tube voltage after the scan's references were
    /// brought to their expected HU by a straight line.
    ///
    /// # Errors
    ///
    /// [`CalibrationRefused`] with fewer than two references, a tube voltage
    /// outside 80 to 140 kVp, or a reference more than 30 HU off the line.
    pub fn from_references(references: &[Reference], kvp: f64) -> Result<Self, CalibrationRefused> {
        if references.len() < 2 {
            return Err(CalibrationRefused::Inserts { found: references.len(), least: 2 });
        }
        let out_of_range = CalibrationRefused::Kvp { kvp };
        let mut points = Vec::new();
        for reference in references {
            let expected = reference_hu(reference.material, kvp).ok_or(out_of_range)?;
            points.push((reference.hu, expected));
        }
        let line = Line::through(&points)?;
        if line.slope <= 0.0 {
            return Err(CalibrationRefused::Falls { slope: line.slope });
        }
        let worst = line.residuals.iter().fold(0.0_f64, |most, r| most.max(r.abs()));
        if worst > 30.0 {
            return Err(CalibrationRefused::Reference { off_hu: worst, limit_hu: 30.0 });
        }
        let typical = 1.0 / ha_hu_per_mg(kvp).ok_or(out_of_range)?;
        Ok(Self {
            slope: typical * line.slope,
            intercept: typical * line.intercept,
            uncertainty: Uncertainty {
                slope_sd: typical * line.slope * TYPICAL_SLOPE_SD * 0.7,
                intercept_sd: TYPICAL_INTERCEPT_SD,
                covariance: 0.0,
            },
            hu_range: None,
            mineral: Mineral::Hydroxyapatite,
            source: CalibrationSource::References {
                kvp,
                residuals_hu: points.iter().map(|(found, expected)| found - expected).collect(),
            },
        })
    }

    /// Typical HA line of a tube voltage with its wide band.
    ///
    /// Slope from [`ha_hu_per_mg`]; 9 % and 15 mg/cm³ standard deviation, and
    /// more by [`unknown_kvp_sd`] where the voltage is not known (then 120 kVp is
    /// taken).
    ///
    /// # Errors
    ///
    /// [`CalibrationRefused::Kvp`] outside 80 to 140 kVp.
    pub fn assumed(kvp: Option<f64>) -> Result<Self, CalibrationRefused> {
        let taken = kvp.unwrap_or(120.0);
        let typical = 1.0 / ha_hu_per_mg(taken).ok_or(CalibrationRefused::Kvp { kvp: taken })?;
        let unknown = if kvp.is_some() { 0.0 } else { unknown_kvp_sd() };
        Ok(Self {
            slope: typical,
            intercept: 0.0,
            uncertainty: Uncertainty {
                slope_sd: typical * TYPICAL_SLOPE_SD.hypot(unknown),
                intercept_sd: TYPICAL_INTERCEPT_SD,
                covariance: 0.0,
            },
            hu_range: None,
            mineral: Mineral::Hydroxyapatite,
            source: CalibrationSource::Assumed { kvp },
        })
    }

    /// Density at a HU value.
    pub fn density(&self, hu: f64) -> Density {
        let u = &self.uncertainty;
        let variance =
            (hu * u.slope_sd).powi(2) + u.intercept_sd * u.intercept_sd + 2.0 * hu * u.covariance;
        Density {
            mg_cm3: self.slope * hu + self.intercept,
            sd_mg_cm3: variance.max(0.0).sqrt(),
            extrapolated: self.hu_range.is_some_and(|[low, high]| hu < low || hu > high),
        }
    }

    /// Whether the line is a typical one and not this scan's own.
    pub fn is_assumed(&self) -> bool {
        matches!(self.source, CalibrationSource::Assumed { .. })
    }
}

struct Line {
    slope: f64,
    intercept: f64,
    uncertainty: Uncertainty,
    r_squared: f64,
    residuals: Vec<f64>,
}

impl Line {
    fn through(points: &[(f64, f64)]) -> Result<Self, CalibrationRefused> {
        let n = points.len() as f64;
        let mean = |pick: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / n;
        let (mx, my) = (mean(&|p| p.0), mean(&|p| p.1));
        let sum = |pick: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>();
        let sxx = sum(&|p| (p.0 - mx).powi(2));
        let sxy = sum(&|p| (p.0 - mx) * (p.1 - my));
        let syy = sum(&|p| (p.1 - my).powi(2));
        if !(sxx.is_finite() && syy.is_finite() && sxx > 1e-9) {
            return Err(CalibrationRefused::Same);
        }
        let slope = sxy / sxx;
        let intercept = my - slope * mx;
        let residuals: Vec<f64> = points.iter().map(|p| p.1 - (slope * p.0 + intercept)).collect();
        let rest: f64 = residuals.iter().map(|r| r * r).sum();
        let variance = if points.len() > 2 { rest / (n - 2.0) } else { 0.0 };
        Ok(Self {
            slope,
            intercept,
            uncertainty: Uncertainty {
                slope_sd: (variance / sxx).sqrt(),
                intercept_sd: (variance * (1.0 / n + mx * mx / sxx)).sqrt(),
                covariance: -variance * mx / sxx,
            },
            r_squared: if syy > 0.0 { 1.0 - rest / syy } else { 0.0 },
            residuals,
        })
    }
}

/// Why a calibration was not made.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrationRefused {
    /// Too few inserts or references.
    #[error("{found} inserts or references, expected {least} or more")]
    Inserts {
        /// Given.
        found: usize,
        /// Fewest accepted.
        least: usize,
    },
    /// All HU are the same, or not finite.
    #[error("the HU do not differ or are not finite numbers")]
    Same,
    /// The slope is not positive.
    #[error("slope of {slope} mg/cm3 per HU, expected above 0")]
    Falls {
        /// As found or given.
        slope: f64,
    },
    /// The intercept is not finite.
    #[error("intercept of {intercept} mg/cm3 is not a finite number")]
    NotFinite {
        /// As given.
        intercept: f64,
    },
    /// The inserts do not lie on a line.
    #[error("R2 is {r_squared:.4}, expected {least} or more")]
    Scatter {
        /// Coefficient of determination.
        r_squared: f64,
        /// Least accepted.
        least: f64,
    },
    /// A reference is far off its expected HU after the line.
    #[error("a reference is {off_hu:.0} HU off its expected value, at most {limit_hu:.0} accepted")]
    Reference {
        /// Largest residual, HU.
        off_hu: f64,
        /// Limit, HU.
        limit_hu: f64,
    },
    /// The tube voltage is outside the table.
    #[error("{kvp} kVp is outside 80 to 140")]
    Kvp {
        /// As given.
        kvp: f64,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spine_phantom() -> [Insert; 3] {
        [(60.0, 50.0), (118.0, 100.0), (236.0, 200.0)].map(|(hu, density)| Insert { hu, density })
    }

    #[test]
    fn the_worked_spine_phantom_is_met() {
        let line = Calibration::from_inserts(&spine_phantom(), Mineral::Hydroxyapatite)
            .expect("three inserts");
        assert!((line.slope - 0.851_566).abs() < 1e-6, "{}", line.slope);
        assert!((line.intercept + 0.849_490).abs() < 1e-5, "{}", line.intercept);
        let CalibrationSource::Inserts { r_squared, residuals } = &line.source else {
            panic!("inserts");
        };
        assert!(*r_squared > 0.9998 && residuals.len() == 3);
        assert!(!line.density(100.0).extrapolated && line.density(400.0).extrapolated);
    }

    #[test]
    fn uncertainty_grows_away_from_the_inserts() {
        let line = Calibration::from_inserts(&spine_phantom(), Mineral::Hydroxyapatite)
            .expect("three inserts");
        assert!(line.density(138.0).sd_mg_cm3 < line.density(0.0).sd_mg_cm3);
        assert!(line.density(0.0).sd_mg_cm3 < line.density(1200.0).sd_mg_cm3);
    }

    #[test]
    fn scattered_inserts_are_refused_with_their_number() {
        let mut inserts = spine_phantom();
        inserts[1].density = 160.0;
        let refused = Calibration::from_inserts(&inserts, Mineral::Hydroxyapatite);
        assert!(
            matches!(refused, Err(CalibrationRefused::Scatter { r_squared, .. }) if r_squared < 0.99)
        );
    }

    #[test]
    fn references_undo_a_shifted_scale() {
        let off = |hu: f64| 1.04 * hu + 12.0;
        let references = [
            (ReferenceMaterial::Air, -1000.0),
            (ReferenceMaterial::Fat, -78.25),
            (ReferenceMaterial::Muscle, 43.05),
        ]
        .map(|(material, hu)| Reference { material, hu: off(hu) });
        let line = Calibration::from_references(&references, 120.0).expect("three references");
        let plain = Calibration::assumed(Some(120.0)).expect("in the table");
        assert!((line.density(off(300.0)).mg_cm3 - plain.density(300.0).mg_cm3).abs() < 1e-6);
        assert!(line.uncertainty.slope_sd < plain.uncertainty.slope_sd);
    }

    #[test]
    fn an_unknown_voltage_widens_the_band() {
        let known = Calibration::assumed(Some(120.0)).expect("in the table");
        let unknown = Calibration::assumed(None).expect("120 is taken");
        assert!(unknown.uncertainty.slope_sd > 2.0 * known.uncertainty.slope_sd);
        // What 300 HU are at 80 kVp, read as if at 120.
        let (at_80, read) = (Calibration::assumed(Some(80.0)).expect("in the table"), 300.0);
        let off = (unknown.density(read).mg_cm3 - at_80.density(read).mg_cm3).abs();
        assert!(1.645 * unknown.density(read).sd_mg_cm3 > off, "{off}");
        assert!(1.645 * known.density(read).sd_mg_cm3 < off, "{off}");
        assert!(known.is_assumed());
        assert_eq!(Calibration::assumed(Some(70.0)), Err(CalibrationRefused::Kvp { kvp: 70.0 }));
    }
}
