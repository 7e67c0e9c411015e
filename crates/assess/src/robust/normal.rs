//! From evenly spread numbers to normally distributed ones.

/// Coefficients of the middle, of the tails, and of the far tails: numerator
/// and denominator, highest power first.
const MIDDLE: [[f64; 8]; 2] = [
    [
        2.509_080_928_730_122_7e3,
        3.343_057_558_358_813e4,
        6.726_577_092_700_87e4,
        4.592_195_393_154_987e4,
        1.373_169_376_550_946e4,
        1.971_590_950_306_551_3e3,
        1.331_416_678_917_843_8e2,
        3.387_132_872_796_366_5,
    ],
    [
        5.226_495_278_852_854e3,
        2.872_908_573_572_194_3e4,
        3.930_789_580_009_271e4,
        2.121_379_430_158_659_7e4,
        5.394_196_021_424_751e3,
        6.871_870_074_920_579e2,
        4.231_333_070_160_091e1,
        1.0,
    ],
];
const TAIL: [[f64; 8]; 2] = [
    [
        7.745_450_142_783_414e-4,
        2.272_384_498_926_918_4e-2,
        2.417_807_251_774_506e-1,
        1.270_458_252_452_368_4,
        3.647_848_324_763_204_5,
        5.769_497_221_460_691,
        4.630_337_846_156_546,
        1.423_437_110_749_683_5,
    ],
    [
        1.050_750_071_644_416_9e-9,
        5.475_938_084_995_345e-4,
        1.519_866_656_361_645_7e-2,
        1.481_039_764_274_800_8e-1,
        6.897_673_349_851e-1,
        1.676_384_830_183_803_8,
        2.053_191_626_637_759,
        1.0,
    ],
];
const FAR_TAIL: [[f64; 8]; 2] = [
    [
        2.010_334_399_292_288_1e-7,
        2.711_555_568_743_487_6e-5,
        1.242_660_947_388_078_4e-3,
        2.653_218_952_657_612_4e-2,
        2.965_605_718_285_048_7e-1,
        1.784_826_539_917_291_3,
        5.463_784_911_164_114,
        6.657_904_643_501_103,
    ],
    [
        2.044_263_103_389_939_8e-15,
        1.421_511_758_316_446e-7,
        1.846_318_317_510_054_8e-5,
        7.868_691_311_456_133e-4,
        1.487_536_129_085_061_5e-2,
        1.369_298_809_227_358e-1,
        5.998_322_065_558_88e-1,
        1.0,
    ],
];

/// The value below which a standard normal lies with a probability.
///
/// - `p`: above 0 and below 1; 0 and 1 give infinities.
///
/// # Accuracy
///
/// About 1e-16 of the value, by its authors.
///
/// # References
///
/// Wichura MJ 1988, Algorithm AS 241, PPND16, Applied Statistics 37:477.
pub fn inverse_normal(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        return q * ratio(&MIDDLE, 0.180_625 - q * q);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    let r = (-tail.ln()).sqrt();
    if !r.is_finite() {
        return if q < 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    let x = if r <= 5.0 { ratio(&TAIL, r - 1.6) } else { ratio(&FAR_TAIL, r - 5.0) };
    x.copysign(q)
}

fn ratio([above, below]: &[[f64; 8]; 2], r: f64) -> f64 {
    let value = |of: &[f64; 8]| of.iter().fold(0.0, |sum, c| sum * r + c);
    value(above) / value(below)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_percentiles_come_out() {
        // Python 3.11, statistics.NormalDist().inv_cdf.
        let rows = [
            (0.5, 0.0),
            (0.975, 1.959_963_984_540_054),
            (0.95, 1.644_853_626_951_472_2),
            (0.01, -2.326_347_874_040_841),
            (1e-12, -7.034_483_825_301_131),
            (0.2, -0.841_621_233_572_914_3),
        ];
        for (p, want) in rows {
            let got = inverse_normal(p);
            assert!((got - want).abs() < 1e-13, "{p}: {got} != {want}");
        }
    }

    #[test]
    fn both_halves_mirror_each_other() {
        for i in 1..1000 {
            let p = f64::from(i) / 1024.0;
            assert!((inverse_normal(p) + inverse_normal(1.0 - p)).abs() < 1e-14);
        }
    }
}
