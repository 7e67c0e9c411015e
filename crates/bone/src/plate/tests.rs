//! Closed-form plates: bias over thickness, blur and noise; refusals.

use libm::erf;

use super::*;

/// Deterministic noise of unit variance: sum of twelve uniforms.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let mut sum = -6.0;
        for _ in 0..12 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            sum += (self.0 >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum
    }
}

fn plate(thickness: f64, sigma: f64, levels: [f64; 3], noise: f64, seed: u64) -> Vec<(f64, f64)> {
    let mut random = Noise(seed * 7919 + 13);
    (0..49)
        .map(|i| {
            let t = f64::from(i) * 0.25 - 6.0;
            let scale = std::f64::consts::SQRT_2 * sigma;
            let up = 0.5 * (1.0 + erf((t + 0.5 * thickness) / scale));
            let down = 0.5 * (1.0 + erf((t - 0.5 * thickness) / scale));
            let hu = levels[0] + (levels[1] - levels[0]) * up + (levels[2] - levels[1]) * down;
            (t, hu + noise * random.next())
        })
        .collect()
}

#[test]
fn the_peak_of_a_blurred_plate_is_the_published_share() {
    for (sigma, thickness, share) in
        [(0.5, 0.5, 0.3829), (0.5, 1.0, 0.6827), (0.5, 3.0, 0.9973), (0.8, 1.5, 0.6515)]
    {
        let profile = plate(thickness, sigma, [0.0, 1.0, 0.0], 0.0, 1);
        let peak = profile.iter().map(|(_, hu)| *hu).fold(0.0, f64::max);
        assert!((peak - share).abs() < 1e-4, "{peak} {share}");
    }
}

#[test]
fn with_the_level_known_thickness_has_no_bias_from_0_4_mm_up() {
    for thickness in [0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0, 4.0] {
        for sigma in [0.3, 0.6, 0.9] {
            let hints = PlateHints { cortex_hu: Some(1400.0), ..PlateHints::default() };
            let (mut sum, mut squares, runs) = (0.0, 0.0, 40);
            for seed in 0..runs {
                let profile = plate(thickness, sigma, [40.0, 1400.0, -60.0], 15.0, seed);
                let fit = fit_plate(&profile, sigma, hints).expect("a plate");
                let error = fit.thickness_mm - thickness;
                sum += error;
                squares += error * error;
            }
            let bias = sum / runs as f64;
            let spread = (squares / runs as f64).sqrt();
            assert!(bias.abs() < 0.05, "bias {bias} at {thickness}, blur {sigma}");
            assert!(spread < 0.12, "spread {spread} at {thickness}, blur {sigma}");
        }
    }
}

#[test]
fn without_the_level_a_thick_plate_is_fitted_and_its_level_found() {
    let profile = plate(2.5, 0.6, [40.0, 1400.0, 150.0], 0.0, 1);
    let fit = fit_plate(&profile, 0.6, PlateHints::default()).expect("a plate");
    assert!((fit.thickness_mm - 2.5).abs() < 1e-6 && (fit.peak_hu - 1400.0).abs() < 1e-3);
    assert!((fit.near_edge_mm + 1.25).abs() < 1e-6 && fit.se_mm < 1e-6);
}

#[test]
fn a_thin_plate_of_unknown_level_is_refused_rather_than_guessed() {
    let mut refused = 0;
    for seed in 0..40 {
        let profile = plate(0.5, 0.8, [40.0, 1200.0, 20.0], 20.0, seed);
        match fit_plate(&profile, 0.8, PlateHints::default()) {
            Err(_) => refused += 1,
            Ok(fit) => assert!((fit.thickness_mm - 0.5).abs() < 3.0 * fit.se_mm + 0.3, "{fit:?}"),
        }
    }
    assert!(refused > 20, "{refused}");
}

#[test]
fn the_standard_error_is_the_spread() {
    let hints = PlateHints { cortex_hu: Some(1400.0), ..PlateHints::default() };
    let (mut squares, mut claimed, runs) = (0.0, 0.0, 200);
    for seed in 0..runs {
        let profile = plate(1.2, 0.6, [40.0, 1400.0, 0.0], 30.0, seed);
        let fit = fit_plate(&profile, 0.6, hints).expect("a plate");
        squares += (fit.thickness_mm - 1.2).powi(2);
        claimed += fit.se_mm.powi(2);
    }
    let ratio = (squares / claimed).sqrt();
    assert!((0.8..1.25).contains(&ratio), "{ratio}");
}

#[test]
fn samples_that_share_their_noise_widen_the_error_by_its_root() {
    let hints = PlateHints { cortex_hu: Some(1400.0), ..PlateHints::default() };
    let profile = plate(1.2, 0.6, [40.0, 1400.0, 0.0], 30.0, 3);
    let apart = fit_plate(&profile, 0.6, hints).expect("a plate");
    let shared = PlateHints { samples_per_voxel: 4.0, ..hints };
    let shared = fit_plate(&profile, 0.6, shared).expect("a plate");
    assert!((shared.se_mm / apart.se_mm - 2.0).abs() < 1e-9);
    assert!((shared.thickness_mm - apart.thickness_mm).abs() < 1e-12);
}

#[test]
fn no_peak_and_too_few_samples_are_said_with_numbers() {
    let flat: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i), 50.0)).collect();
    let refused = fit_plate(&flat, 0.6, PlateHints::default());
    assert_eq!(refused, Err(FitRefused::NoPeak { rise_hu: 0.0, least_hu: 45.0 }));
    let few = fit_plate(&flat[..4], 0.6, PlateHints::default());
    assert_eq!(few, Err(FitRefused::Samples { found: 4, least: 8 }));
}

#[test]
fn the_blur_of_a_plate_shows_whatever_its_thickness() {
    for thickness in [0.8, 1.0, 1.2, 2.0, 3.0, 4.0] {
        for sigma in [0.5, 0.7, 0.9] {
            // A level a seventh off what is assumed costs most between two and
            // three blurs, where a plate just begins to show its own.
            for (level, limit) in [(1200.0, 0.16), (1400.0, 0.03), (1600.0, 0.16)] {
                let mut found: Vec<f64> = (0..40)
                    .filter_map(|seed| {
                        let profile = plate(thickness, sigma, [40.0, level, -60.0], 10.0, seed);
                        fit_blur(&profile, 1400.0)
                    })
                    .collect();
                found.sort_by(f64::total_cmp);
                let middle = found[found.len() / 2];
                let off = (middle - sigma).abs() / sigma;
                assert!(off < limit, "{thickness} {sigma} {level}: {middle}");
            }
        }
    }
}

#[test]
fn what_is_no_plate_shows_no_blur() {
    let flat: Vec<(f64, f64)> = (0..30).map(|i| (f64::from(i) * 0.2, 60.0)).collect();
    assert_eq!(fit_blur(&flat, 1400.0), None);
    let two: Vec<(f64, f64)> = plate(0.8, 0.4, [40.0, 1400.0, 40.0], 0.0, 1)
        .iter()
        .zip(plate(0.8, 0.4, [0.0, 1100.0, 0.0], 0.0, 1).iter().cycle().skip(12))
        .map(|((t, hu), (_, other))| (*t, hu + other))
        .collect();
    assert_eq!(fit_blur(&two, 1400.0), None);
}
