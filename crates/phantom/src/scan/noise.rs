//! Seeded Gaussian noise.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;

/// Add white noise; a slice's draws depend on the seed and its number alone.
pub(super) fn add_noise(hu: &mut [f32], size: [usize; 3], sigma_hu: f64, seed: u64) {
    if sigma_hu <= 0.0 {
        return;
    }
    hu.par_chunks_mut(size[0] * size[1]).enumerate().for_each(|(slice, out)| {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(slice as u64);
        for pair in out.chunks_mut(2) {
            let (a, b) = normal_pair(&mut random);
            pair[0] += (a * sigma_hu) as f32;
            if let Some(second) = pair.get_mut(1) {
                *second += (b * sigma_hu) as f32;
            }
        }
    });
}

/// Two independent standard normal numbers, by Box and Muller's transform.
fn normal_pair(random: &mut ChaCha8Rng) -> (f64, f64) {
    let radius = (-2.0 * (1.0 - uniform(random)).ln()).sqrt();
    let (sin, cos) = (std::f64::consts::TAU * uniform(random)).sin_cos();
    (radius * cos, radius * sin)
}

/// A number from 0 to below 1.
pub(crate) fn uniform(random: &mut ChaCha8Rng) -> f64 {
    (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_has_the_asked_spread_and_follows_its_seed() {
        let make = |seed| {
            let mut hu = vec![0.0; 40_000];
            add_noise(&mut hu, [100, 100, 4], 15.0, seed);
            hu
        };
        let hu = make(7);
        let mean = hu.iter().map(|v| f64::from(*v)).sum::<f64>() / 40_000.0;
        let sd = (hu.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / 40_000.0).sqrt();
        assert!(mean.abs() < 0.3 && (sd - 15.0).abs() < 0.2, "{mean} {sd}");
        assert_eq!(hu, make(7));
        assert_ne!(hu, make(8));
        assert_ne!(hu[..10_000], hu[10_000..20_000]);
    }
}
