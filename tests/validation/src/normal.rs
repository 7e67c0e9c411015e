//! The normal distribution: its integral, and seeded draws of it.

/// The error function.
///
/// # References
///
/// Marsaglia G 2004, J Stat Softw 11(4): a series good to 1e-14 within 7
/// standard deviations.
pub fn erf(x: f64) -> f64 {
    2.0 * cdf(x * std::f64::consts::SQRT_2) - 1.0
}

/// Share of a standard normal distribution below `x`.
pub fn cdf(x: f64) -> f64 {
    let x = x.clamp(-8.0, 8.0);
    let (mut sum, mut term, mut n) = (x, x, 3.0);
    for _ in 0..300 {
        term *= x * x / n;
        sum += term;
        n += 2.0;
    }
    0.5 + sum * (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Seeded draws of mean 0 and variance 1: sums of twelve uniform numbers.
#[derive(Clone, Debug)]
pub struct Noise(u64);

impl Noise {
    /// Draws of a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next one.
    pub fn draw(&mut self) -> f64 {
        let mut sum = -6.0;
        for _ in 0..12 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            sum += (self.0 >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum
    }
}
