//! How often a hole forgives, against the normal distribution.

#[path = "../../../../crates/assess/tests/robust_common/mod.rs"]
mod robust_common;

use pilothole_assess::robust::{RobustParams, robust};
use pilothole_assess::{JudgeParams, judge_hole};
use pilothole_plan::Plan;
use pilothole_volume::PatientPoint;
use rayon::prelude::*;
use robust_common::{Body, Drilled, plan, unit};

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};

const SEEDS: [u64; 5] = [1, 2, 3, 5, 8];

/// A plate with a face `half` mm to each side of the axis, oblique to the
/// lattice.
fn plate(half: f64) -> (Body, Plan) {
    let direction = unit([0.2, 0.1, 0.95]);
    let side = direction.across().0;
    let start = PatientPoint([0.0, 0.0, -15.0]);
    let depth = move |at: PatientPoint| {
        let across = half - (at - start).dot(side.offset()).abs();
        let along = (at - start).dot(direction.offset());
        across.min(34.0 - along).min(along)
    };
    let body = Body::new(40.0, 0.8, depth, |_| 400.0);
    let seat = (start + direction * -1.0).0;
    let hole = Drilled { seat, direction: direction.components(), more: "" };
    (body, plan("20, 25, 30", "margin_mm = 2.0", &[hole]))
}

/// Shares less the normal distribution's, and the same in standard errors.
fn shares(world: &World) -> (Vec<f64>, Vec<f64>) {
    let cases = [(5.0, 1.5), (6.5, 1.5), (4.0, 1.0)];
    let pairs: Vec<Vec<(f64, f64)>> = cases
        .into_par_iter()
        .map(|(half, shift)| {
            let (body, plan) = plate(half);
            let hole = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
            let case = format!("plate {half:.1} shift {shift:.1}");
            let want = world.worked.value("robust", &case, "share");
            SEEDS
                .iter()
                .map(|seed| {
                    let params = RobustParams {
                        entry_sd_mm: shift,
                        angle_sd_rad: 0.0,
                        seed: *seed,
                        ..RobustParams::OWN
                    };
                    let found = robust(&body.scene(), &plan, &hole, &params).expect("has a length");
                    let off = found.stays_inside - want;
                    (off, off / found.share_se)
                })
                .collect()
        })
        .collect();
    pairs.into_iter().flatten().unzip()
}

/// Forgiven shift of plates less the room beside the thread, mm.
fn forgiven() -> Vec<f64> {
    [5.0, 6.0, 6.5]
        .into_par_iter()
        .map(|half| {
            let (body, plan) = plate(half);
            let hole = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
            let found =
                robust(&body.scene(), &plan, &hole, &RobustParams::OWN).expect("has a length");
            found.forgiven_shift_mm - (half - 3.25)
        })
        .collect()
}

pub(super) fn section(world: &World) -> Section {
    let (shares, errors) = shares(world);
    let row = |id, what: &str, source: &str, errors: &[f64], unit, test| Row {
        id,
        what: what.to_owned(),
        source: source.to_owned(),
        tag: Tag::Derived,
        figures: figures(errors, unit),
        test,
        needs_scan: false,
    };
    let test = "crates/assess/tests/robust_shares.rs `a_plate_holds_as_often_as_the_normal_distribution_says`";
    Section {
        title: "How wrong the guide may sit",
        claim: "Shares over seeded placements, and the largest shift a hole forgives.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![
            row(
                "robust-share",
                "share that stays inside, three plates, five seeds",
                "normal distribution",
                &shares,
                "share",
                test,
            ),
            row("robust-errors", "the same", "normal distribution", &errors, "standard error", test),
            row(
                "robust-forgiven",
                "forgiven shift in three plates",
                "geometry",
                &forgiven(),
                "mm",
                "crates/assess/tests/robust_shares.rs `a_plate_forgives_what_geometry_says`",
            ),
        ],
        remarks: "That placements err as a normal distribution is an assumption, and its spread comes from guides for other bones (`docs/methods/robustness.md`).".to_owned(),
    }
}
