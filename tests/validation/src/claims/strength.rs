//! From Hounsfield units to density, from density to strength.

use pilothole_assess::strength::{
    ShearLaw, apparent_g_cm3, ash_g_cm3, shear_mm, thread_shape_factor, thread_shear_n,
};
use pilothole_bone::density::{Calibration, Insert, Mineral};
use pilothole_plan::{Screw, thread_table};

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures, two};
use crate::worked::{Worked, off};

fn screw(name: &str) -> Screw {
    thread_table().into_iter().find(|s| s.name == name).expect("in the table")
}

fn threads(worked: &Worked) -> Vec<f64> {
    let mut errors = Vec::new();
    for name in ["HA 3.5", "HA 4.5", "HB 4.0", "HB 6.5"] {
        let screw = screw(name);
        for (quantity, found) in [
            ("shape factor", thread_shape_factor(&screw)),
            ("shear mm", shear_mm(&screw)),
            ("pull-out N at 4 MPa and 20 mm", thread_shear_n(&screw, &[(20.0, 4.0)])),
        ] {
            errors.push(off(found, worked.value("thread", name, quantity)));
        }
    }
    let layers = [(3.0, 20.0), (20.0, 4.0), (2.0, 20.0)];
    let found = thread_shear_n(&screw("HB 6.5"), &layers);
    errors.push(off(found, worked.value("thread", "HB 6.5 layered", "pull-out N")));
    errors
}

fn chain(worked: &Worked) -> Vec<f64> {
    let root = 3.0_f64.sqrt();
    let mut errors = Vec::new();
    for qct in [0.05, 0.10, 0.20, 0.40] {
        let case = format!("{qct:.2} g/cm3 HA");
        for (quantity, found) in [
            ("ash", ash_g_cm3(qct)),
            ("apparent", apparent_g_cm3(qct)),
            ("Stone shear MPa", ShearLaw::STONE_1983.shear(qct).mpa),
            ("Carter-Hayes compression MPa", ShearLaw::CARTER_HAYES_1977.shear(qct).mpa * root),
            ("Keyak compression MPa", ShearLaw::KEYAK_1998.shear(qct).mpa * root),
            ("Keller compression MPa", ShearLaw::KELLER_1994.shear(qct).mpa * root),
        ] {
            errors.push(off(found, worked.value("density", &case, quantity)));
        }
    }
    errors
}

fn calibration(worked: &Worked) -> Vec<f64> {
    let inserts =
        [(60.0, 50.0), (118.0, 100.0), (236.0, 200.0)].map(|(hu, density)| Insert { hu, density });
    let line = Calibration::from_inserts(&inserts, Mineral::Hydroxyapatite).expect("a line");
    [("slope", line.slope), ("intercept", line.intercept)]
        .map(|(quantity, found)| off(found, worked.value("calibration", "three inserts", quantity)))
        .to_vec()
}

/// Predictions over measurements less 1, per cent, after one fitted strength
/// of the foam, N/mm per mm.
fn foam(worked: &Worked) -> (Vec<f64>, f64) {
    let rows: Vec<(f64, f64)> = worked
        .cases("foam", "newton")
        .into_iter()
        .map(|(name, newton)| {
            let of = |quantity| worked.value("foam", name, quantity);
            let thread = Screw {
                major_diameter_mm: of("major"),
                core_diameter_mm: of("core"),
                pitch_mm: of("pitch"),
                ..screw("HB 6.5")
            };
            (shear_mm(&thread), newton)
        })
        .collect();
    let fitted = rows.iter().map(|(mm, n)| mm * n).sum::<f64>()
        / rows.iter().map(|(mm, _)| mm * mm).sum::<f64>();
    (rows.iter().map(|(mm, n)| 100.0 * (fitted * mm / n - 1.0)).collect(), fitted)
}

pub(super) fn section(world: &World) -> Section {
    let worked = &world.worked;
    let (foam, fitted) = foam(worked);
    let row = |id, what: &str, source: &str, tag, errors: &[f64], unit, test| Row {
        id,
        what: what.to_owned(),
        source: source.to_owned(),
        tag,
        figures: figures(errors, unit),
        test,
        needs_scan: false,
    };
    Section {
        title: "Density and strength",
        claim: "Pull-out is an estimate by published laws, with a band that shows their spread."
            .to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![
            row(
                "strength-calibration",
                "line through three inserts: slope, intercept",
                "least squares by numpy",
                Tag::Derived,
                &calibration(worked),
                "share",
                "crates/bone/src/density/calibration.rs `the_worked_spine_phantom_is_met`",
            ),
            row(
                "strength-density",
                "density to ash, apparent density and four strengths, at 0.05 to 0.4 g HA/cm³",
                "Schileo 2008, Stone 1983, Carter and Hayes 1977, Keyak 1998, Keller 1994, worked in Python",
                Tag::Memory,
                &chain(worked),
                "share",
                "crates/assess/tests/strength_checks.rs `the_density_chain_has_its_worked_numbers`",
            ),
            row(
                "strength-thread",
                "four threads and a layered path",
                "Chapman 1996, worked in Python",
                Tag::Memory,
                &threads(worked),
                "share",
                "crates/assess/tests/strength_checks.rs `chapmans_table_comes_out_to_the_cent`",
            ),
            row(
                "strength-foam",
                "pull-out of eleven measured screws, one strength fitted",
                "Weidling 2022 Sci Rep 12:8051, Table 2",
                Tag::Confirmed,
                &foam,
                "%",
                "crates/assess/tests/strength_checks.rs `eleven_measured_screws_lie_within_fifteen_percent_of_one_fit`",
            ),
        ],
        remarks: format!(
            "The foam's fitted strength times length is {} N/mm; the authors say themselves that the law ranks modern tapered screws only moderately. Agreement with a formula from memory proves the arithmetic, not the formula. Nothing here was measured in a pelvis.",
            two(fitted)
        ),
    }
}
