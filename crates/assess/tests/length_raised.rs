//! A recommended length above the planned one that breaks out where that does not.

mod robust_common;

use pilothole_assess::{JudgeParams, judge_hole};
use pilothole_volume::PatientPoint;
use robust_common::{Body, Drilled, plan};

/// A block whose upper 30 mm are wide and whose rest is narrow: a screw down its
/// middle has room beside it in the first and none in the second.
fn funnel() -> Body {
    Body::new(
        50.0,
        1.0,
        |at: PatientPoint| {
            let [x, y, z] = at.0;
            let across = x.abs().max(y.abs());
            let wide = (14.0 - across).min(z + 40.0).min(10.0 - (z + 20.0));
            let narrow = (2.5 - across).min(z + 40.0).min(40.0 - z);
            wide.max(narrow)
        },
        |_| 400.0,
    )
}

#[test]
fn a_length_raised_into_a_breach_is_told_and_one_that_was_planned_is_not() {
    let body = funnel();
    let finding = |planned: &'static str| {
        let hole = Drilled { seat: [0.0, 0.0, -38.0], direction: [0.0, 0.0, 1.0], more: planned };
        let plan = plan("20, 40, 60", "margin_mm = 2.0", &[hole]);
        let found = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
        assert_eq!(found.length_mm, Some(60.0), "the far end lies at 78 mm");
        assert!(found.reasons.contains(&"side.breach"), "{:?}", found.reasons);
        found.findings.into_iter().find(|f| f.code == "length.raised")
    };
    let raised = finding("length_mm = 20.0").expect("20 mm stay in the wide part");
    assert_eq!((raised.measured, raised.limit), (Some(60.0), Some(20.0)));
    assert_eq!(finding("length_mm = 40.0"), None, "40 mm break out as well");
    assert_eq!(finding("length_mm = 60.0"), None, "nothing was raised");
    assert_eq!(finding(""), None, "nothing was planned");
}
