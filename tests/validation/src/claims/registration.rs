//! One set of points brought onto another.

use nalgebra::Vector3;
use pilothole_assess::set::kabsch::kabsch;
use pilothole_plan::{RigidError, fit_rigid};
use pilothole_volume::PatientPoint;

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};

const FOUR: [[f64; 3]; 4] =
    [[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 60.0, 0.0], [0.0, 0.0, 40.0]];

/// 30° about z, then (5, -7, 11).
fn moved([x, y, z]: [f64; 3]) -> [f64; 3] {
    let (s, c) = 30_f64.to_radians().sin_cos();
    [c * x - s * y + 5.0, s * x + c * y - 7.0, z + 11.0]
}

fn worked(world: &World) -> Vec<f64> {
    let exact = FOUR.map(moved);
    let mut one_off = exact;
    one_off[3][2] += 4.0;
    let mirrored = FOUR.map(|[x, y, z]| [-x, y, z]);
    let want = |case: &str, quantity: &str| world.worked.value("registration", case, quantity);
    let mut errors = Vec::new();
    for (case, partners) in [("exact", exact), ("one off by 4 mm", one_off), ("mirrored", mirrored)]
    {
        let found =
            kabsch(&FOUR.map(Vector3::from), &partners.map(Vector3::from)).expect("four pairs");
        errors.push(found.rms_mm - want(case, "rms mm"));
        let pairs: Vec<_> =
            FOUR.iter().zip(partners).map(|(a, b)| (PatientPoint(*a), PatientPoint(b))).collect();
        match fit_rigid(&pairs) {
            Ok(fit) => {
                let angle = want(case, "angle deg");
                errors.push(fit.rms_mm - want(case, "rms mm"));
                errors.push(fit.motion.angle_rad().to_degrees() - angle);
                errors.push(found.angle_rad().to_degrees() - angle);
            }
            Err(RigidError::Mirrored { rms_mm, .. }) => {
                errors.push(rms_mm - want(case, "rms mm"));
            }
            Err(error) => panic!("{case}: {error}"),
        }
    }
    errors
}

pub(super) fn section(world: &World) -> Section {
    Section {
        title: "Registration",
        claim: "A table of holes in another frame is brought into the scan's by a rigid motion; a mirrored one is refused.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![Row {
            id: "registration-kabsch",
            what: "four points turned by 30°, one of them off, mirrored: residuals and angles, both fits".to_owned(),
            source: "Kabsch W 1976 Acta Cryst A32:922, worked with numpy's SVD".to_owned(),
            tag: Tag::Derived,
            figures: figures(&worked(world), "mm, degree"),
            test: "crates/plan/src/rigid.rs `one_point_off_by_four_leaves_the_published_residual`",
            needs_scan: false,
        }],
        remarks: String::new(),
    }
}
