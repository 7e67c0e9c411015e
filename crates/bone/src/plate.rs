//! A cortex as a plate seen through blur: its edges without a threshold's bias.
//!
//! Model of Treece, Gee, Mayhew and Poole 2010 (Med Image Anal 14:276): along a
//! line across the cortex HU step from an outside level to the cortex's level
//! and on to an inside level, all blurred by one Gaussian. Least squares by
//! Levenberg and Marquardt. A plate thinner than about twice the blur has no
//! level of its own to see, only the product of level and thickness: then the
//! cortex's level must be known (from a thick place of the same scan) and the
//! thickness follows from it.

mod blur;
mod seen;
mod solve;
mod step;

pub(crate) use blur::fit_blur;
use solve::{Left, Model, covariance, minimise};

/// What is known of a profile before the fit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlateHints {
    /// Level of the cortex, HU, held fixed; fitted where `None`.
    pub cortex_hu: Option<f64>,
    /// Level on the side of the smallest positions, HU, held fixed.
    pub near_hu: Option<f64>,
    /// Level on the side of the largest positions, HU, held fixed.
    pub far_hu: Option<f64>,
    /// Neighbouring samples that share one voxel's noise; standard errors grow
    /// by its square root. 1 or less: every sample has its own.
    pub samples_per_voxel: f64,
}

/// A fitted plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlateFit {
    /// Position of its first edge, mm.
    pub near_edge_mm: f64,
    /// Position of its second edge, mm.
    pub far_edge_mm: f64,
    /// Distance between them, mm.
    pub thickness_mm: f64,
    /// Level of the cortex itself, HU: above the peak that blur leaves.
    pub peak_hu: f64,
    /// Levels before and behind it, HU.
    pub side_hu: [f64; 2],
    /// Standard error of the thickness, mm, from the residuals; 0 for a profile
    /// that the model meets exactly.
    pub se_mm: f64,
    /// Standard errors of the two edges, mm.
    pub edge_se_mm: [f64; 2],
    /// Root mean square of the residuals, HU.
    pub residual_hu: f64,
}

/// Why no plate was fitted.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FitRefused {
    /// Too few finite samples.
    #[error("{found} samples, expected {least} or more")]
    Samples {
        /// Finite samples.
        found: usize,
        /// Fewest accepted.
        least: usize,
    },
    /// The blur is not a positive number.
    #[error("blur of {sigma_mm} mm, expected above 0")]
    Blur {
        /// As given, mm.
        sigma_mm: f64,
    },
    /// The profile has no peak.
    #[error("the peak rises {rise_hu:.0} HU above its higher side, expected {least_hu:.0} or more")]
    NoPeak {
        /// Rise of the peak above the higher of its two sides, HU.
        rise_hu: f64,
        /// Least accepted.
        least_hu: f64,
    },
    /// An edge lies outside the samples or the plate has no thickness.
    #[error("edges at {near_mm:.2} and {far_mm:.2} mm are not inside the profile")]
    Edges {
        /// First edge, mm.
        near_mm: f64,
        /// Second edge, mm.
        far_mm: f64,
    },
    /// The line meets the plate too flat for what it sees to be one.
    #[error("the path meets it at {:.0}°, more than {:.0}°", incidence_rad.to_degrees(), limit_rad.to_degrees())]
    Grazing {
        /// Angle between the line and the plate's normal, rad.
        incidence_rad: f64,
        /// Largest accepted, rad.
        limit_rad: f64,
    },
    /// The cortex shows no inner face: what lies behind its peak does not fall.
    #[error("no inner face of it shows")]
    NoInnerFace,
    /// The outer edge lies too far from the envelope's surface.
    #[error("a plate's edge would lie {off_mm:.1} mm from the envelope, more than {limit_mm:.1}")]
    FarFromEnvelope {
        /// Distance along the path, mm.
        off_mm: f64,
        /// Largest accepted, mm.
        limit_mm: f64,
    },
    /// The outer edge lies where no plate seen at that crossing can have it.
    #[error("a plate's edge would lie {moved_mm:.1} mm inside the halfway face, expected {:.1} to {:.1}", expected_mm[0], expected_mm[1])]
    OffItsFace {
        /// From the halfway face inwards, mm.
        moved_mm: f64,
        /// What a plate of that thickness allows, mm.
        expected_mm: [f64; 2],
    },
    /// The residuals are too large for one plate.
    #[error("residuals of {residual_hu:.0} HU are more than {limit_hu:.0}")]
    Residuals {
        /// Root mean square, HU.
        residual_hu: f64,
        /// Limit, a fifth of the plate's rise, HU.
        limit_hu: f64,
    },
    /// The plate is too thin to show its own level, and none is known.
    #[error(
        "the plate is {thickness_mm:.2} mm thick, too thin to show its level below {least_mm:.2} mm"
    )]
    Thin {
        /// Fitted thickness, mm.
        thickness_mm: f64,
        /// Least thickness that shows a level, mm.
        least_mm: f64,
    },
    /// The level and the thickness cannot be told apart.
    #[error("standard error of the thickness is {se_mm:.2} mm, more than {limit_mm:.2}")]
    Uncertain {
        /// Standard error, mm.
        se_mm: f64,
        /// Limit, mm.
        limit_mm: f64,
    },
}

/// From this many blurs on a plate shows its own level.
pub const OWN_LEVEL_BLURS: f64 = 2.5;
/// Fewest samples for five unknowns with residuals left over.
const LEAST_SAMPLES: usize = 8;
/// Least rise of a peak, HU: three times the noise of a usual pelvic scan.
const LEAST_RISE_HU: f64 = 45.0;
/// Largest standard error of a thickness that is still an answer, mm: the
/// spread that Treece found over 16 femora (0.58 mm).
const MOST_SE_MM: f64 = 0.58;

/// Fit a blurred plate to a profile.
///
/// - `profile`: positions, mm, and HU; at least 8 finite samples, one cortex
///   with some of both sides. HU that are not finite are left out.
/// - `blur_sigma_mm`: Gaussian blur along the line, see
///   [`crate::Blur::along_mm`].
///
/// # Errors
///
/// [`FitRefused`] where the profile holds no plate or does not fix its
/// thickness: say so, and use the halfway rule.
///
/// # Accuracy
///
/// With the cortex's level known: bias below 0.05 mm from 0.4 mm up; without:
/// from about 2.5 blur widths up, thinner plates mostly refused as uncertain.
pub fn fit_plate(
    profile: &[(f64, f64)],
    blur_sigma_mm: f64,
    hints: PlateHints,
) -> Result<PlateFit, FitRefused> {
    if !(blur_sigma_mm > 0.0 && blur_sigma_mm.is_finite()) {
        return Err(FitRefused::Blur { sigma_mm: blur_sigma_mm });
    }
    let samples: Vec<(f64, f64)> =
        profile.iter().copied().filter(|(t, hu)| t.is_finite() && hu.is_finite()).collect();
    if samples.len() < LEAST_SAMPLES {
        return Err(FitRefused::Samples { found: samples.len(), least: LEAST_SAMPLES });
    }
    let start = first_guess(&samples, blur_sigma_mm, hints)?;
    let free =
        [true, true, hints.near_hu.is_none(), hints.far_hu.is_none(), hints.cortex_hu.is_none()];
    let shared = hints.samples_per_voxel.max(1.0);
    let problem = Problem { samples: &samples, sigma_mm: blur_sigma_mm, free, shared };
    let best = minimise(&problem, start);
    problem.judge(best)
}

/// Unknowns: near edge, far edge, near level, far level, cortex level.
type Unknowns = [f64; 5];

fn first_guess(
    samples: &[(f64, f64)],
    sigma_mm: f64,
    hints: PlateHints,
) -> Result<Unknowns, FitRefused> {
    let mut top = 0;
    for (i, (_, hu)) in samples.iter().enumerate() {
        if *hu > samples[top].1 {
            top = i;
        }
    }
    let (at, peak) = samples[top];
    let lowest = |part: &[(f64, f64)]| part.iter().map(|(_, hu)| *hu).fold(peak, f64::min);
    let near = hints.near_hu.unwrap_or_else(|| lowest(&samples[..=top]));
    let far = hints.far_hu.unwrap_or_else(|| lowest(&samples[top..]));
    let rise_hu = peak - near.max(far);
    if rise_hu < LEAST_RISE_HU {
        return Err(FitRefused::NoPeak { rise_hu, least_hu: LEAST_RISE_HU });
    }
    let cross = |part: &mut dyn Iterator<Item = &(f64, f64)>, level: f64| {
        let mut last = at;
        for (t, hu) in part {
            last = *t;
            if *hu < level {
                break;
            }
        }
        last
    };
    let from = cross(&mut samples[..top].iter().rev(), 0.5 * (peak + near));
    let to = cross(&mut samples[top + 1..].iter(), 0.5 * (peak + far));
    let seen_mm = (to - from).abs().max(0.2 * sigma_mm);
    let cortex = hints.cortex_hu.unwrap_or_else(|| {
        let share = libm::erf(seen_mm / (2.0 * std::f64::consts::SQRT_2 * sigma_mm)).max(0.3);
        near.max(far) + rise_hu / share
    });
    // Area under the peak over the known level gives the width of a thin plate.
    let share = ((peak - near.max(far)) / (cortex - near.max(far)).max(1.0)).clamp(0.05, 0.98);
    let thin_mm = 2.5 * sigma_mm * share;
    let half_mm =
        0.5 * if share < 0.9 { seen_mm.min(thin_mm.max(0.3 * sigma_mm)) } else { seen_mm };
    let middle = 0.5 * (from + to);
    Ok([middle - half_mm, middle + half_mm, near, far, cortex])
}

struct Problem<'a> {
    samples: &'a [(f64, f64)],
    sigma_mm: f64,
    free: [bool; 5],
    /// Samples that share one noise.
    shared: f64,
}

impl Model<5> for Problem<'_> {
    fn free(&self) -> [bool; 5] {
        self.free
    }

    fn holds(&self, u: &Unknowns) -> bool {
        u[1] > u[0]
    }

    fn look(&self, u: &Unknowns, left: &mut Left<5>) {
        seen::look(self.samples, u, self.sigma_mm, left, |_, of_plate| of_plate);
    }
}

impl Problem<'_> {
    fn judge(&self, u: Unknowns) -> Result<PlateFit, FitRefused> {
        let [near_mm, far_mm, near, far, cortex] = u;
        let low = self.samples.iter().map(|(t, _)| *t).fold(f64::INFINITY, f64::min);
        let high = self.samples.iter().map(|(t, _)| *t).fold(f64::NEG_INFINITY, f64::max);
        if !(near_mm > low && far_mm < high && far_mm > near_mm) {
            return Err(FitRefused::Edges { near_mm, far_mm });
        }
        let mut left = Left::nothing();
        self.look(&u, &mut left);
        let cost = left.cost;
        let residual_hu = (cost / self.samples.len() as f64).sqrt();
        let limit_hu = 0.2 * (cortex - near.max(far)).abs();
        if residual_hu > limit_hu {
            return Err(FitRefused::Residuals { residual_hu, limit_hu });
        }
        let unknowns = self.free.iter().filter(|f| **f).count();
        let spare = self.samples.len().saturating_sub(unknowns).max(1);
        let variance = self.shared * cost / spare as f64;
        let uncertain = FitRefused::Uncertain { se_mm: f64::INFINITY, limit_mm: MOST_SE_MM };
        let inverse = covariance(self, &left).ok_or(uncertain)?;
        let se = |variance: f64| variance.max(0.0).sqrt();
        let edge_se_mm = [0, 1].map(|i| se(variance * inverse[i][i]));
        let spread = inverse[0][0] + inverse[1][1] - 2.0 * inverse[0][1];
        let se_mm = se(variance * spread);
        if se_mm.is_nan() || se_mm > MOST_SE_MM {
            return Err(FitRefused::Uncertain { se_mm, limit_mm: MOST_SE_MM });
        }
        Ok(PlateFit {
            near_edge_mm: near_mm,
            far_edge_mm: far_mm,
            thickness_mm: far_mm - near_mm,
            peak_hu: cortex,
            side_hu: [near, far],
            se_mm,
            edge_se_mm,
            residual_hu,
        })
    }
}

#[cfg(test)]
mod tests;
