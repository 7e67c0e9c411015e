//! A blurred step at several places together.

/// Places that are looked at together.
pub(super) const LANES: usize = 8;

/// Where a blurred step stops changing: 1 − erf(4) is 1.5 × 10⁻⁸.
const FLAT: f64 = 4.0;

/// A step from 0 to 1 blurred by a Gaussian, (1 + erf z)/2, and its slope, at
/// each place.
///
/// erf by Abramowitz and Stegun 1964, 7.1.26, which is off by 1.5 × 10⁻⁷ at
/// most: 0.0005 HU of a 3000 HU cortex. It shares the slope's exponential.
#[inline]
pub(super) fn steps(z: &[f64; LANES]) -> ([f64; LANES], [f64; LANES]) {
    let per_bell = std::f64::consts::PI.sqrt();
    let mut far = [0.0; LANES];
    for lane in 0..LANES {
        let off = z[lane].abs();
        far[lane] = if off > FLAT { FLAT } else { off };
    }
    let bells = bells(&far);
    let (mut values, mut slopes) = ([0.0; LANES], [0.0; LANES]);
    for lane in 0..LANES {
        let counts = if z[lane].abs() > FLAT { 0.0 } else { 1.0 };
        let t = 1.0 / (1.0 + 0.327_591_1 * far[lane]);
        let series = 0.254_829_592
            + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429)));
        let beyond = 0.5 * t * series * bells[lane] * counts;
        let (level, sign) = if z[lane] > 0.0 { (1.0, -1.0) } else { (0.0, 1.0) };
        values[lane] = level + sign * beyond;
        slopes[lane] = bells[lane] / per_bell * counts;
    }
    (values, slopes)
}

/// exp(−z²) for z from 0 to 20, to the last digit that of `libm::exp`; without
/// a branch, so that several are done at once.
///
/// The steps are those of FreeBSD's `e_exp.c` (Sun Microsystems 1993):
/// `x = k ln 2 + r`, a rational function of `r`, times 2^k.
#[inline]
fn bells(z: &[f64; LANES]) -> [f64; LANES] {
    // ln 2 in two parts, its inverse, and the rational function's numbers.
    let ln2_high = f64::from_bits(0x3fe6_2e42_fee0_0000);
    let ln2_low = f64::from_bits(0x3dea_39ef_3579_3c76);
    let per_ln2 = std::f64::consts::LOG2_E;
    let p = [
        0x3fc5_5555_5555_553e,
        0xbf66_c16c_16be_bd93,
        0x3f11_566a_af25_de2c,
        0xbebb_bd41_c5d2_6bf1,
        0x3e66_3769_72be_a4d0,
    ]
    .map(f64::from_bits);
    // From where on k is -1, and less.
    let one = f64::from_bits(0x3fd6_2e43_0000_0000);
    let more = f64::from_bits(0x3ff0_a2b2_0000_0000);
    // Before that 1 + x stands for all.
    let least = f64::from_bits(0x3e30_0001_0000_0000);
    // Rounds to a whole number, and holds it in its lowest bits: 1.5 x 2^52.
    let round = f64::from_bits(0x4338_0000_0000_0000);
    let (mut x, mut k) = ([0.0; LANES], [0.0; LANES]);
    for lane in 0..LANES {
        let far = z[lane] * z[lane];
        x[lane] = -far;
        let wanted = per_ln2 * x[lane] - 0.5;
        let nearest = (wanted + round) - round;
        let towards_0 = nearest + if nearest < wanted { 1.0 } else { 0.0 };
        let once = if far >= one { -1.0 } else { 0.0 };
        k[lane] = if far >= more { towards_0 } else { once };
    }
    let mut out = [0.0; LANES];
    for lane in 0..LANES {
        let high = x[lane] - k[lane] * ln2_high;
        let low = k[lane] * ln2_low;
        let r = high - low;
        let rr = r * r;
        let c = r - rr * (p[0] + rr * (p[1] + rr * (p[2] + rr * (p[3] + rr * p[4]))));
        let y = 1.0 + (r * c / (2.0 - c) - low + high);
        out[lane] = y * f64::from_bits((k[lane] + round).to_bits().wrapping_add(1023) << 52);
    }
    for lane in 0..LANES {
        out[lane] = if x[lane] <= -least { out[lane] } else { 1.0 + x[lane] };
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bell_has_libms_exponential_to_the_last_digit() {
        let same = |z: f64| {
            let found = bells(&[0.5, 1.5, z, 0.0, 3.5, z, 0.0, 0.0]);
            assert_eq!(found[2].to_bits(), libm::exp(-z * z).to_bits(), "{z}");
            assert_eq!(found[5].to_bits(), found[2].to_bits(), "{z}");
        };
        (0..2_000_000_u32).for_each(|i| same(4.1 * f64::from(i) / 2e6));
        for power in -300..4 {
            for part in 0..2_000 {
                same((1.0 + f64::from(part) / 2e3) * 2.0_f64.powi(power));
            }
        }
        // Around where k changes, and where 1 + x begins to stand for all.
        for edge in [0.346_573_f64, 0.346_574, 1.039_72, 1.039_721, 3.725_29e-9, 3.725_291e-9] {
            let bits = edge.sqrt().to_bits();
            (0..4_000).for_each(|i| same(f64::from_bits((bits - 2_000_000 + 1_000 * i) & !0xff)));
            (0..4_000).for_each(|i| same(f64::from_bits(bits - (1 << 35) + (i << 24))));
        }
        same(0.0);
    }

    /// Abramowitz and Stegun 1964, 7.1.26: an error of 1.5e-7 of erf at most.
    #[test]
    fn a_blurred_step_is_the_error_function() {
        let slope_at_0 = 1.0 / std::f64::consts::PI.sqrt();
        for i in -500..=500 {
            let z = f64::from(i) * 0.01;
            let (value, slope) = steps(&[z; LANES]);
            assert!((value[3] - 0.5 * (1.0 + libm::erf(z))).abs() < 0.75e-7, "{z}");
            assert!((slope[3] - slope_at_0 * (-z * z).exp()).abs() < 1e-7, "{z}");
        }
    }
}
