//! Holes that clash at their own best: parted where their reach allows it, and
//! named where it does not.

mod robust_common;

use std::sync::atomic::AtomicBool;

use pilothole_assess::refine::{OpenCorridors, RefineParams, Refined, refine};
use pilothole_assess::robust::RobustParams;
use pilothole_volume::PatientPoint;
use robust_common::{Body, Drilled, plan, strength};

/// Two screws in a block that point at each other, each with a swivel.
fn crossing(swivel: &'static str) -> Refined {
    let hole =
        |x: f64| Drilled { seat: [x, 0.0, -21.0], direction: [-x / 20.0, 0.0, 1.0], more: swivel };
    let depth = |at: PatientPoint| (at.0[2] + 20.0).min(30.0 - at.0[2]);
    let body = Body::new(40.0, 1.0, depth, |_| 300.0);
    let plan = plan("30, 35, 40", "margin_mm = 2.0\nscrew_gap_mm = 1.0", &[hole(-6.0), hole(6.0)]);
    let params =
        RefineParams { placements: 8, ..RefineParams::with(RobustParams::OWN, strength()) };
    refine(&body.scene(), &plan, &params, &OpenCorridors, &AtomicBool::new(false))
}

#[test]
fn where_the_swivels_allow_it_no_pair_clashes() {
    let found = crossing("swivel_deg = 15.0\n");
    assert_eq!(found.clashes, [1, 0]);
    assert!(found.findings.iter().all(|f| f.code != "refine.clash_remains"));
}

#[test]
fn where_they_do_not_the_pair_is_named() {
    let found = crossing("swivel_deg = 1.0\n");
    assert_eq!(found.clashes, [1, 1]);
    let named: Vec<_> =
        found.findings.iter().filter(|f| f.code == "refine.clash_remains").collect();
    assert_eq!(named.len(), 1);
    assert_eq!((named[0].hole, named[0].other), (Some(0), Some(1)));
    assert!(named[0].measured < named[0].limit, "{named:?}");
    assert!(named[0].text.contains("no choice among the directions looked at"));
}
