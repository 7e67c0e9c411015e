//! The blur that a plate's own profile shows, whatever its thickness.
//!
//! The width of what is seen is that of the blur and of the thickness together,
//! and the height is level times thickness over it: with the level known, or
//! guessed, both follow. A wrong guess costs little where the plate is thin: a
//! fifth less at a thickness of one blur changes the blur by a fiftieth. A plate
//! thick enough to show its level is fitted without one.

use super::solve::{Left, Model, minimise};
use super::{LEAST_RISE_HU, OWN_LEVEL_BLURS, PlateHints, first_guess, seen};

/// Fewest samples for six unknowns with residuals left over.
const LEAST_SAMPLES: usize = 10;
/// Largest residual of a profile that one plate explains, as a share of its
/// peak's rise; own choice: noise of 15 HU on a peak of 400 HU is 0.04.
const MOST_RESIDUAL: f64 = 0.08;
/// First guess of a blur, mm.
const GUESS_MM: f64 = 0.7;

/// The blur of the plate that fits best to a profile of rising positions, mm,
/// and HU; `None` where no plate explains it.
///
/// - `level_hu`: what a cortex is likely to read.
pub(crate) fn fit_blur(profile: &[(f64, f64)], level_hu: f64) -> Option<f64> {
    if profile.len() < LEAST_SAMPLES {
        return None;
    }
    let hints = PlateHints { cortex_hu: Some(level_hu), ..PlateHints::default() };
    let [near_mm, far_mm, near, far, cortex] = first_guess(profile, GUESS_MM, hints).ok()?;
    let guessed = Free { samples: profile, level: false };
    let thin = minimise(&guessed, [near_mm, far_mm, near, far, cortex, GUESS_MM]);
    if thickness_in_blurs(&thin) < OWN_LEVEL_BLURS {
        return guessed.blur_of(&thin);
    }
    let own = Free { samples: profile, level: true };
    let thick = minimise(&own, thin);
    if thickness_in_blurs(&thick) < OWN_LEVEL_BLURS {
        return None;
    }
    own.blur_of(&thick)
}

/// Near edge, far edge, near level, far level, cortex level, blur.
type Unknowns = [f64; 6];

fn thickness_in_blurs(u: &Unknowns) -> f64 {
    (u[1] - u[0]) / u[5]
}

struct Free<'a> {
    samples: &'a [(f64, f64)],
    /// Whether the cortex's level is fitted too.
    level: bool,
}

impl Free<'_> {
    /// The blur, where both edges lie in the profile and it is explained.
    fn blur_of(&self, u: &Unknowns) -> Option<f64> {
        let (first, last) = (self.samples[0].0, self.samples[self.samples.len() - 1].0);
        let peak = self.samples.iter().map(|(_, hu)| *hu).fold(f64::NEG_INFINITY, f64::max);
        let rise = peak - u[2].max(u[3]);
        let mut left = Left::nothing();
        self.look(u, &mut left);
        let residual = (left.cost / self.samples.len() as f64).sqrt();
        let fits = u[0] > first
            && u[1] < last
            && rise >= LEAST_RISE_HU
            && residual <= MOST_RESIDUAL * rise;
        fits.then_some(u[5])
    }
}

impl Model<6> for Free<'_> {
    fn free(&self) -> [bool; 6] {
        [true, true, true, true, self.level, true]
    }

    fn holds(&self, u: &Unknowns) -> bool {
        u[1] > u[0] && u[5] > 0.0
    }

    fn look(&self, u: &Unknowns, left: &mut Left<6>) {
        let [near_mm, far_mm, near, far, cortex, sigma_mm] = *u;
        let plate = [near_mm, far_mm, near, far, cortex];
        seen::look(self.samples, &plate, sigma_mm, left, |t, of_plate| {
            let [a, b, c, d, e] = of_plate;
            [a, b, c, d, e, (a * (t - near_mm) + b * (t - far_mm)) / sigma_mm]
        });
    }
}
