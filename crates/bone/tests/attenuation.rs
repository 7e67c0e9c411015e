//! Hounsfield units of ICRU tissues, and the density line of the spine phantom.
//!
//! Compositions: ICRU Reports 44 and 46, as packaged by spekpy 2.5.4. Mass
//! attenuation: NIST tables (Hubbell and Seltzer 1995). Spectra: spekpy, 6 mm
//! Al and 20 cm of water. All computed apart from this code; the script is
//! `compute_hu.py` in the project's shared reference folder.

use pilothole_bone::density::{
    Calibration, CalibrationSource, HA_HU_PER_MG, Insert, Mineral, ReferenceMaterial, ha_hu_per_mg,
    reference_hu,
};

/// Linear attenuation at 60 keV, 1/cm, and its HU.
const AT_60_KEV: [(&str, f64, f64); 10] = [
    ("water", 0.20587, 0.0),
    ("adipose", 0.18748, -89.3),
    ("yellow marrow", 0.19284, -63.3),
    ("red marrow", 0.20711, 6.0),
    ("muscle", 0.21498, 44.3),
    ("blood", 0.21799, 58.9),
    ("spongiosa", 0.28098, 364.8),
    ("cortical bone", 0.60444, 1936.1),
    ("200 mg HA/cm3 in water", 0.27416, 331.7),
    ("200 mg K2HPO4/cm3", 0.26679, 295.9),
];

/// HU of a linear attenuation: the definition (ICRP Publication 129).
fn hounsfield(mu: f64, mu_water: f64) -> f64 {
    1000.0 * (mu - mu_water) / mu_water
}

#[test]
fn hounsfield_units_at_60_kev_follow_from_attenuation() {
    for (name, mu, hu) in AT_60_KEV {
        let found = hounsfield(mu, AT_60_KEV[0].1);
        assert!((found - hu).abs() < 3.0, "{name}: {found} not {hu}");
    }
    // One mg of K2HPO4 is not one mg of HA.
    assert!(AT_60_KEV[9].2 / AT_60_KEV[8].2 < 0.9);
}

/// Electrons relative to water, effective atomic numbers for photo-electric
/// absorption (3.62) and coherent scatter (1.86).
struct Tissue {
    electrons: f64,
    z_photo: f64,
    z_coherent: f64,
}

/// From composition by weight and density, g/cm³.
fn tissue(parts: &[(f64, f64, f64)], density: f64) -> Tissue {
    let per_gram = |z: f64, a: f64, w: f64| w * z / a;
    let all: f64 = parts.iter().map(|(z, a, w)| per_gram(*z, *a, *w)).sum();
    let mean = |power: f64| -> f64 {
        let sum: f64 =
            parts.iter().map(|(z, a, w)| per_gram(*z, *a, *w) / all * z.powf(power)).sum();
        sum.powf(1.0 / power)
    };
    // Water: 10 electrons on 18.015 g, 1 g/cm³.
    let water = 10.0 / 18.015;
    Tissue { electrons: density * all / water, z_photo: mean(3.62), z_coherent: mean(1.86) }
}

const H: (f64, f64) = (1.0, 1.008);
const C: (f64, f64) = (6.0, 12.011);
const N: (f64, f64) = (7.0, 14.007);
const O: (f64, f64) = (8.0, 15.999);
const NA: (f64, f64) = (11.0, 22.990);
const MG: (f64, f64) = (12.0, 24.305);
const P: (f64, f64) = (15.0, 30.974);
const S: (f64, f64) = (16.0, 32.06);
const CL: (f64, f64) = (17.0, 35.45);
const K: (f64, f64) = (19.0, 39.098);
const CA: (f64, f64) = (20.0, 40.078);

fn of(parts: &[((f64, f64), f64)], density: f64) -> Tissue {
    let parts: Vec<(f64, f64, f64)> = parts.iter().map(|((z, a), w)| (*z, *a, *w)).collect();
    tissue(&parts, density)
}

fn adipose() -> Tissue {
    of(
        &[(H, 0.114), (C, 0.598), (N, 0.007), (O, 0.278), (NA, 0.001), (S, 0.001), (CL, 0.001)],
        0.95,
    )
}

fn muscle() -> Tissue {
    let parts = [
        (H, 0.102),
        (C, 0.143),
        (N, 0.034),
        (O, 0.710),
        (NA, 0.001),
        (P, 0.002),
        (S, 0.003),
        (CL, 0.001),
        (K, 0.004),
    ];
    of(&parts, 1.05)
}

fn cortical() -> Tissue {
    let parts = [
        (H, 0.034),
        (C, 0.155),
        (N, 0.042),
        (O, 0.435),
        (NA, 0.001),
        (MG, 0.002),
        (P, 0.103),
        (S, 0.003),
        (CA, 0.225),
    ];
    of(&parts, 1.92)
}

/// The stoichiometric calibration (Schneider, Pedroni, Lomax 1996, Phys Med
/// Biol 41:111; the form from memory), with its two ratios fitted to spectra
/// behind 20 cm of water: kVp, photo-electric and coherent over incoherent.
const RATIOS: [(f64, f64, f64); 4] = [
    (80.0, 6.879e-5, 2.096e-3),
    (100.0, 4.910e-5, 1.555e-3),
    (120.0, 3.840e-5, 1.259e-3),
    (140.0, 3.136e-5, 1.064e-3),
];

fn stoichiometric_hu(tissue: &Tissue, (_, photo, coherent): (f64, f64, f64)) -> f64 {
    let share = |z_photo: f64, z_coherent: f64| {
        1.0 + photo * z_photo.powf(3.62) + coherent * z_coherent.powf(1.86)
    };
    let water = share(7.522, 7.115);
    1000.0 * (tissue.electrons * share(tissue.z_photo, tissue.z_coherent) / water - 1.0)
}

#[test]
fn compositions_give_the_table_at_120_kvp() {
    let at_120 = RATIOS[2];
    // Polychromatic, 20 cm of water: adipose -80.5, muscle 43.3, cortical 1674.
    for (name, tissue, hu, limit) in [
        ("adipose", adipose(), -80.5, 3.0),
        ("muscle", muscle(), 43.3, 3.0),
        ("cortical bone", cortical(), 1674.0, 6.0),
    ] {
        let found = stoichiometric_hu(&tissue, at_120);
        assert!((found - hu).abs() < limit, "{name}: {found} not {hu}");
    }
}

#[test]
fn expected_fat_and_muscle_follow_from_their_composition_at_every_voltage() {
    for ratios in RATIOS {
        let kvp = ratios.0;
        for (material, tissue) in
            [(ReferenceMaterial::Fat, adipose()), (ReferenceMaterial::Muscle, muscle())]
        {
            // Ours is the mean of 20 and 30 cm of water, this of 20 cm.
            let expected = reference_hu(material, kvp).expect("in the table");
            let found = stoichiometric_hu(&tissue, ratios);
            assert!((found - expected).abs() < 5.0, "{material:?} {kvp}: {found} not {expected}");
        }
    }
}

#[test]
fn hydroxyapatite_reads_as_computed_and_less_with_the_voltage() {
    // 200 mg HA/cm³ in water behind 20 and 30 cm, computed.
    for (kvp, hu) in [
        (80.0, [392.7, 361.1]),
        (100.0, [323.3, 296.3]),
        (120.0, [282.9, 258.1]),
        (140.0, [255.2, 231.6]),
    ] {
        let row = HA_HU_PER_MG.iter().find(|row| (row.0 - kvp).abs() < 1e-9).expect("a row");
        for (per_mg, hu) in row.1.iter().zip(hu) {
            assert!((200.0 * per_mg - hu).abs() < 0.06, "{kvp}: {per_mg} {hu}");
        }
    }
    let [at_80, at_120] = [80.0, 120.0].map(|kvp| ha_hu_per_mg(kvp).expect("in the table"));
    // 1.334 to 1.372 in marrow, 1.351 to 1.358 in cortex; in water a little more.
    assert!((1.33..1.41).contains(&(at_80 / at_120)), "{}", at_80 / at_120);
}

/// The European Spine Phantom's vertebrae hold 50, 100 and 200 mg HA/cm³
/// (Kalender 1995, Eur J Radiol 20:83; values confirmed in a second source).
/// Read at 60 keV (computed: 82.9, 165.9, 331.7 HU) they give the slope of
/// hydroxyapatite in water, 1 / 1.6587 mg/cm³ per HU, and no offset; read with
/// the bias of a scanner they stay within the published accuracy of 1.4 to
/// 6.7 % (Wang 2017, Sci Rep 7:6284).
#[test]
fn the_spine_phantom_calibrates_hydroxyapatite() {
    let fit = |hu: [f64; 3]| {
        let inserts: Vec<Insert> = hu
            .iter()
            .zip([50.0, 100.0, 200.0])
            .map(|(hu, density)| Insert { hu: *hu, density })
            .collect();
        Calibration::from_inserts(&inserts, Mineral::Hydroxyapatite).expect("three inserts")
    };
    let exact = fit([82.9, 165.9, 331.7]);
    assert!((exact.slope - 1.0 / 1.6587).abs() < 1e-3, "{}", exact.slope);
    assert!(exact.intercept.abs() < 0.1, "{}", exact.intercept);
    let CalibrationSource::Inserts { r_squared, residuals } = &exact.source else {
        panic!("inserts");
    };
    assert!(*r_squared > 0.999_999 && residuals.iter().all(|r| r.abs() < 0.1));
    // 3 HU of noise in the means.
    let noisy = fit([85.9, 163.4, 332.7]);
    for (hu, known) in [(82.9, 50.0), (165.9, 100.0), (331.7, 200.0)] {
        let off = noisy.density(hu).mg_cm3 / known - 1.0;
        assert!(off.abs() < 0.067, "{known}: {off}");
    }
}
