//! Named laws from bone density to stiffness and strength, each with its range.
//!
//! Laws are site- and test-specific and differ by up to a factor of ten
//! (Helgason 2008, Clin Biomech 23:135): choose at the call site, show more
//! than one. Outside its range a law refuses; nothing is extrapolated.

/// What a law yields.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Young's modulus, `MPa`.
    Modulus,
    /// Compressive strength, `MPa`.
    CompressiveStrength,
    /// Shear strength, `MPa`.
    ShearStrength,
}

/// The density that a law takes, g/cm³.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DensityKind {
    /// Ash mass over the bulk volume.
    Ash,
    /// Wet mass over the bulk volume.
    Apparent,
}

/// How sure the coefficients are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Read in a second source that quotes the first.
    SecondSource,
    /// Partly or wholly from memory of the paper; check before use.
    Unchecked,
}

/// value = coefficient · density^exponent, `MPa`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerLaw {
    /// Stable name.
    pub name: &'static str,
    /// What it yields.
    pub quantity: Quantity,
    /// What it takes.
    pub takes: DensityKind,
    /// `MPa` at 1 g/cm³.
    pub coefficient: f64,
    /// Exponent of the density.
    pub exponent: f64,
    /// Densities it was found for, g/cm³.
    pub range: [f64; 2],
    /// Bone it was found on.
    pub site: &'static str,
    /// Where it was published.
    pub citation: &'static str,
    /// How sure the coefficients are.
    pub standing: Standing,
}

/// A density outside a law's range.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{density} g/cm3 is outside {name}'s range of {} to {} g/cm3", range[0], range[1])]
pub struct OutOfRange {
    /// The law.
    pub name: &'static str,
    /// The density, g/cm³.
    pub density: f64,
    /// Its range, g/cm³.
    pub range: [f64; 2],
}

impl PowerLaw {
    /// Value at a density, `MPa`.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`] outside the range.
    pub fn at(&self, density: f64) -> Result<f64, OutOfRange> {
        if density >= self.range[0] && density <= self.range[1] {
            Ok(self.formula(density))
        } else {
            Err(OutOfRange { name: self.name, density, range: self.range })
        }
    }

    /// The bare formula, `MPa`, without its range; for showing what a law would
    /// say where it has no standing.
    pub fn formula(&self, density: f64) -> f64 {
        self.coefficient * density.powf(self.exponent)
    }
}

/// Range of the Morgan 2003 specimens, g/cm³ (from memory).
const MORGAN_RANGE: [f64; 2] = [0.09, 0.75];
const MORGAN: &str = "Morgan EF, Bayraktar HH, Keaveny TM 2003 J Biomech 36:897";

const fn morgan(
    name: &'static str,
    site: &'static str,
    coefficient: f64,
    exponent: f64,
) -> PowerLaw {
    PowerLaw {
        name,
        quantity: Quantity::Modulus,
        takes: DensityKind::Apparent,
        coefficient,
        exponent,
        range: MORGAN_RANGE,
        site,
        citation: MORGAN,
        standing: Standing::SecondSource,
    }
}

/// E = 6850 ρ^1.49, femoral neck.
pub const MORGAN_NECK: PowerLaw = morgan("morgan-neck", "femoral neck", 6850.0, 1.49);
/// E = 15010 ρ^2.18, greater trochanter.
pub const MORGAN_TROCHANTER: PowerLaw =
    morgan("morgan-trochanter", "greater trochanter", 15_010.0, 2.18);
/// E = 4730 ρ^1.56, vertebra.
pub const MORGAN_VERTEBRA: PowerLaw = morgan("morgan-vertebra", "vertebra T10 to L5", 4730.0, 1.56);
/// E = 15490 ρ^1.93, proximal tibia.
pub const MORGAN_TIBIA: PowerLaw = morgan("morgan-tibia", "proximal tibia", 15_490.0, 1.93);

/// E = 2017.3 ρ^2.46, pelvic trabecular bone; range of the specimens taken as
/// Morgan's, as their volume fraction stayed below 20 %.
pub const DALSTRA_PELVIS: PowerLaw = PowerLaw {
    name: "dalstra-pelvis",
    quantity: Quantity::Modulus,
    takes: DensityKind::Apparent,
    coefficient: 2017.3,
    exponent: 2.46,
    range: [0.09, 0.75],
    site: "pelvic trabecular bone",
    citation: "Dalstra M et al. 1993 J Biomech 26:523",
    standing: Standing::Unchecked,
};

/// τ = 21.6 ρ^1.65, bovine trabecular bone in pure shear.
pub const STONE_SHEAR: PowerLaw = PowerLaw {
    name: "stone-shear",
    quantity: Quantity::ShearStrength,
    takes: DensityKind::Apparent,
    coefficient: 21.6,
    exponent: 1.65,
    range: [0.09, 1.0],
    site: "bovine trabecular bone",
    citation: "Stone JL, Beaupre GS, Hayes WC 1983 J Biomech 16:743",
    standing: Standing::Unchecked,
};

/// `E = 14900 ρ_ash^1.86`, proximal femur.
pub const KEYAK_MODULUS: PowerLaw = PowerLaw {
    name: "keyak-modulus",
    quantity: Quantity::Modulus,
    takes: DensityKind::Ash,
    coefficient: 14_900.0,
    exponent: 1.86,
    range: [0.05, 0.8],
    site: "proximal femur",
    citation: "Keyak JH et al. 1998 J Biomech 31:125",
    standing: Standing::Unchecked,
};

/// `S = 102 ρ_ash^1.80`, proximal femur.
pub const KEYAK_STRENGTH: PowerLaw = PowerLaw {
    name: "keyak-strength",
    quantity: Quantity::CompressiveStrength,
    coefficient: 102.0,
    exponent: 1.80,
    ..KEYAK_MODULUS
};

/// `E = 10500 ρ_ash^2.29`, femur and spine.
pub const KELLER_MODULUS: PowerLaw = PowerLaw {
    name: "keller-modulus",
    quantity: Quantity::Modulus,
    takes: DensityKind::Ash,
    coefficient: 10_500.0,
    exponent: 2.29,
    range: [0.05, 1.9],
    site: "femur and spine",
    citation: "Keller TS 1994 J Biomech 27:1159",
    standing: Standing::SecondSource,
};

/// `S = 117 ρ_ash^1.93`, femur and spine.
pub const KELLER_STRENGTH: PowerLaw = PowerLaw {
    name: "keller-strength",
    quantity: Quantity::CompressiveStrength,
    coefficient: 117.0,
    exponent: 1.93,
    standing: Standing::Unchecked,
    ..KELLER_MODULUS
};

/// E = 3790 ε̇^0.06 ρ³ at a strain rate per second.
pub fn carter_hayes_modulus(strain_rate: f64) -> PowerLaw {
    PowerLaw {
        name: "carter-hayes-modulus",
        quantity: Quantity::Modulus,
        takes: DensityKind::Apparent,
        coefficient: 3790.0 * strain_rate.powf(0.06),
        exponent: 3.0,
        range: [0.07, 2.0],
        site: "compact and trabecular, human and bovine",
        citation: "Carter DR, Hayes WC 1977 J Bone Joint Surg Am 59:954",
        standing: Standing::SecondSource,
    }
}

/// S = 68 ε̇^0.06 ρ² at a strain rate per second.
pub fn carter_hayes_strength(strain_rate: f64) -> PowerLaw {
    PowerLaw {
        name: "carter-hayes-strength",
        quantity: Quantity::CompressiveStrength,
        coefficient: 68.0 * strain_rate.powf(0.06),
        exponent: 2.0,
        standing: Standing::Unchecked,
        ..carter_hayes_modulus(strain_rate)
    }
}

/// Shear strength of human cortex along its axis, pure shear, `MPa`.
///
/// Turner CH, Wang T, Burr DB 2001 Calcif Tissue Int 69:373.
pub const CORTICAL_SHEAR_MPA: f64 = 51.6;

/// Ash over apparent density of human bone: 0.6 (0.598 ± 0.004 in cortex).
///
/// Schileo E et al. 2008 J Biomech 41:2483.
pub const ASH_OVER_APPARENT: f64 = 0.6;

/// Ash density, g/cm³, from a density calibrated in hydroxyapatite, g/cm³.
///
/// `ρ_ash = 0.877 ρ + 0.0789` (Schileo E et al. 2008 J Biomech 41:2483).
pub fn ash_from_hydroxyapatite(density: f64) -> f64 {
    0.877 * density + 0.0789
}

/// Ash density, g/cm³, from a density calibrated in K2HPO4, g/cm³.
///
/// `ρ_ash = 1.22 ρ + 0.0523` (Les CM 1994, Keyak JH 1994, as quoted by Knowles
/// NK et al. 2016 J Exp Orthop 3:36).
pub fn ash_from_dipotassium_phosphate(density: f64) -> f64 {
    1.22 * density + 0.0523
}

/// Apparent density, g/cm³, from ash density, g/cm³.
pub fn apparent_from_ash(ash: f64) -> f64 {
    ash / ASH_OVER_APPARENT
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64) {
        assert!((found / expected - 1.0).abs() < 6e-3, "{found} for {expected}");
    }

    #[test]
    fn the_worked_chain_is_met_from_density_to_strength() {
        // HA density; ash; apparent; E neck, trochanter, vertebra, tibia,
        // Dalstra, Carter-Hayes; S Carter-Hayes; shear; E, S Keyak; E, S Keller.
        let table = [
            [
                0.05, 0.1229, 0.2048, 644.8, 473.0, 398.4, 725.6, 40.8, 24.7, 2.163, 1.578, 301.6,
                2.34, 86.3, 2.04,
            ],
            [
                0.10, 0.1667, 0.2778, 1016.1, 920.1, 641.5, 1307.8, 86.4, 61.7, 3.982, 2.610,
                532.1, 4.06, 173.5, 3.69,
            ],
            [
                0.20, 0.2544, 0.4240, 1907.5, 2312.3, 1240.4, 2957.1, 244.4, 219.1, 9.273, 5.243,
                1168.0, 8.68, 456.9, 8.33,
            ],
            [
                0.40, 0.4298, 0.7163, 4166.9, 7253.2, 2810.9, 8136.2, 887.9, 1056.8, 26.469,
                12.456, 3097.9, 22.31, 1518.3, 22.93,
            ],
        ];
        for row in table {
            let ash = ash_from_hydroxyapatite(row[0]);
            let apparent = apparent_from_ash(ash);
            close(ash, row[1]);
            close(apparent, row[2]);
            let by_apparent = [
                MORGAN_NECK,
                MORGAN_TROCHANTER,
                MORGAN_VERTEBRA,
                MORGAN_TIBIA,
                DALSTRA_PELVIS,
                carter_hayes_modulus(0.01),
                carter_hayes_strength(0.01),
                STONE_SHEAR,
            ];
            for (law, expected) in by_apparent.iter().zip(&row[3..]) {
                close(law.at(apparent).expect("in range"), *expected);
            }
            let by_ash = [KEYAK_MODULUS, KEYAK_STRENGTH, KELLER_MODULUS, KELLER_STRENGTH];
            for (law, expected) in by_ash.iter().zip(&row[11..]) {
                close(law.at(ash).expect("in range"), *expected);
            }
        }
    }

    #[test]
    fn outside_its_range_a_law_refuses_and_the_bare_formula_still_shows() {
        let apparent = apparent_from_ash(ash_from_hydroxyapatite(0.8));
        close(MORGAN_NECK.formula(apparent), 10_138.0);
        let refused = MORGAN_NECK.at(apparent).expect_err("1.3 g/cm3");
        assert!((refused.density - apparent).abs() < 1e-12);
        assert!(refused.to_string().contains("morgan-neck"));
    }

    #[test]
    fn the_two_minerals_give_different_ash() {
        assert!((ash_from_hydroxyapatite(0.2) - ash_from_dipotassium_phosphate(0.2)).abs() > 0.03);
    }
}
