//! From Hounsfield units to density, from density to shear strength.
//!
//! Laws are values: whoever calls says which, and each carries the density
//! range within which it was measured. Outside it nothing is extrapolated.

/// How HU become density in a scan: hydroxyapatite, mg/cm³, is
/// `slope * HU + intercept`.
#[derive(Clone, Debug, PartialEq)]
pub struct DensityLine {
    /// mg HA/cm³ per HU, above 0.
    pub slope: f64,
    /// mg HA/cm³ at 0 HU.
    pub intercept: f64,
    /// Standard deviation of the slope, mg HA/cm³ per HU.
    pub slope_sd: f64,
    /// Standard deviation of the intercept, mg HA/cm³.
    pub intercept_sd: f64,
    /// Range that the calibration was made over, HU.
    pub valid_hu: [f64; 2],
    /// Where it comes from.
    pub source: String,
}

impl DensityLine {
    /// Hydroxyapatite, g/cm³.
    pub fn ha_g_cm3(&self, hu: f64) -> f64 {
        1e-3 * (self.slope * hu + self.intercept)
    }
}

/// Ash density of a hydroxyapatite-equivalent density, g/cm³.
///
/// # References
///
/// Schileo E et al. 2008, J Biomech 41:2483: `ρ_ash = 0.877 ρ_QCT + 0.079`
/// (printed 0.0789); coefficients from memory.
pub fn ash_g_cm3(ha_g_cm3: f64) -> f64 {
    0.877 * ha_g_cm3 + 0.079
}

/// Ash over apparent density, the same paper: 0.598 ± 0.004; rounded as in use.
const ASH_PER_APPARENT: f64 = 0.6;

/// Apparent (wet) density of a hydroxyapatite-equivalent density, g/cm³.
pub fn apparent_g_cm3(ha_g_cm3: f64) -> f64 {
    ash_g_cm3(ha_g_cm3) / ASH_PER_APPARENT
}

/// Which density a law is stated in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LawDensity {
    /// Ash.
    Ash,
    /// Apparent.
    Apparent,
}

/// Shear strength of cancellous bone: `factor * density ^ exponent`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShearLaw {
    /// Name in reports.
    pub name: &'static str,
    /// Which density.
    pub density: LawDensity,
    /// Shear strength at 1 g/cm³, N/mm².
    pub factor_mpa: f64,
    /// Power of the density.
    pub exponent: f64,
    /// Densities for which the law stands, g/cm³.
    pub range_g_cm3: [f64; 2],
    /// Spread of specimens about the law: standard deviation of the logarithm.
    pub spread: f64,
    /// Where it comes from, and how sure that is.
    pub source: &'static str,
}

/// Shear over compressive strength where a law states only the latter:
/// 1/√3, of a material that yields by distortion energy. Own choice; it puts
/// Carter and Hayes within 40 % of Stone's measured shear from 0.15 to 1.0
/// g/cm³.
const SHEAR_PER_COMPRESSION: f64 = 0.577_350_269_189_625_8;

/// Lower end of the range of cancellous laws, g/cm³ apparent: Carter and Hayes
/// measured from 0.07.
const LEAST_APPARENT: f64 = 0.07;
/// Upper end, g/cm³ apparent: trabecular laws are not for compact bone.
const MOST_APPARENT: f64 = 1.2;

impl ShearLaw {
    /// Measured in shear.
    pub const STONE_1983: Self = Self {
        name: "Stone 1983",
        density: LawDensity::Apparent,
        factor_mpa: 21.6,
        exponent: 1.65,
        range_g_cm3: [LEAST_APPARENT, MOST_APPARENT],
        // Normalised shear strength 6.60 ± 1.66 N/mm².
        spread: 0.25,
        source: "Stone JL, Beaupre GS, Hayes WC 1983, J Biomech 16:743: bovine trabecular bone in pure shear; exponent and spread confirmed, factor from memory, range taken from Carter and Hayes",
    };

    /// Measured in compression at 0.01 /s: 68 · 0.01^0.06 ρ².
    pub const CARTER_HAYES_1977: Self = Self {
        name: "Carter and Hayes 1977",
        density: LawDensity::Apparent,
        factor_mpa: 68.0 * 0.758_577_575_029_183_8 * SHEAR_PER_COMPRESSION,
        exponent: 2.0,
        range_g_cm3: [LEAST_APPARENT, MOST_APPARENT],
        spread: 0.3,
        source: "Carter DR, Hayes WC 1977, J Bone Joint Surg Am 59:954: human and bovine, compression, from memory; shear taken as 1/sqrt(3) of it; spread own choice",
    };

    /// Measured in compression.
    pub const KELLER_1994: Self = Self {
        name: "Keller 1994",
        density: LawDensity::Ash,
        factor_mpa: 117.0 * SHEAR_PER_COMPRESSION,
        exponent: 1.93,
        range_g_cm3: [0.05, MOST_APPARENT * ASH_PER_APPARENT],
        spread: 0.3,
        source: "Keller TS 1994, J Biomech 27:1159: human femur and spine, compression, from memory; shear taken as 1/sqrt(3) of it; spread own choice",
    };

    /// Measured in compression.
    pub const KEYAK_1998: Self = Self {
        name: "Keyak 1998",
        density: LawDensity::Ash,
        factor_mpa: 102.0 * SHEAR_PER_COMPRESSION,
        exponent: 1.80,
        range_g_cm3: [0.05, MOST_APPARENT * ASH_PER_APPARENT],
        spread: 0.3,
        source: "Keyak JH et al. 1998, J Biomech 31:125: human proximal femur, compression, from memory; range from Keller 1994; shear taken as 1/sqrt(3) of it; spread own choice",
    };

    /// Shear strength at a hydroxyapatite-equivalent density.
    pub fn shear(&self, ha_g_cm3: f64) -> Shear {
        let density = match self.density {
            LawDensity::Ash => ash_g_cm3(ha_g_cm3),
            LawDensity::Apparent => apparent_g_cm3(ha_g_cm3),
        };
        let [least, most] = self.range_g_cm3;
        if density < least {
            Shear { mpa: 0.0, inside: false }
        } else {
            let mpa = self.factor_mpa * density.min(most).powf(self.exponent);
            Shear { mpa, inside: density <= most }
        }
    }
}

/// Shear strength by a law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shear {
    /// N/mm²; below the law's range 0, above it the value at its upper end.
    pub mpa: f64,
    /// Whether the density lies in the law's range.
    pub inside: bool,
}

/// Shear strength of a cortex: in proportion to density up to compact bone.
///
/// Blur thins a cortex's peak and widens its foot, and leaves the integral of
/// density across it unchanged. A law in proportion therefore gives a thin
/// cortex the strength of what it is made of, where a power would lose it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CortexLaw {
    /// Name in reports.
    pub name: &'static str,
    /// Shear strength of compact bone, N/mm².
    pub shear_mpa: f64,
    /// Apparent density of compact bone, g/cm³; above it the strength stays.
    pub compact_g_cm3: f64,
    /// Spread: standard deviation of the logarithm.
    pub spread: f64,
    /// Where it comes from.
    pub source: &'static str,
}

impl CortexLaw {
    /// Pure shear along the bone's axis.
    pub const TURNER_2001: Self = Self {
        name: "Turner 2001",
        shear_mpa: 51.6,
        compact_g_cm3: 1.8,
        spread: 0.2,
        source: "Turner CH, Wang T, Burr DB 2001, Calcif Tissue Int 69:373: human, pure shear; density of compact bone and spread own choice",
    };

    /// Shear strength at a hydroxyapatite-equivalent density, N/mm².
    pub fn shear_mpa(&self, ha_g_cm3: f64) -> f64 {
        self.shear_mpa * (apparent_g_cm3(ha_g_cm3) / self.compact_g_cm3).clamp(0.0, 1.0)
    }
}
