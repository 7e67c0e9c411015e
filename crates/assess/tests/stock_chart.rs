//! Charts against single holes, against geometry, and refused.

mod robust_common;

use pilothole_assess::stock::{
    Dangers, Stock, StockCell, StockError, StockOrigin, StockParams, stock,
};
use pilothole_assess::strength::{DensityLine, StrengthParams, strength};
use pilothole_assess::{JudgeParams, Tissue, judge_hole};
use pilothole_plan::Plan;
use pilothole_volume::{Offset, PatientPoint};
use robust_common::{Body, Drilled, plan};

fn line() -> DensityLine {
    DensityLine {
        slope: 0.8,
        intercept: -5.0,
        slope_sd: 0.05,
        intercept_sd: 5.0,
        valid_hu: [-100.0, 1500.0],
        source: "test".to_owned(),
    }
}

/// An egg of bone with a socket of 25 mm hollowed out, and a dense shell.
fn hip() -> Body {
    let depth = |at: PatientPoint| {
        let from = Offset([at.0[0] - 6.0, at.0[1] * 0.8, at.0[2] - 14.0]);
        let socket = (at - PatientPoint([0.0; 3])).length_mm() - 24.0;
        (44.0 - from.length_mm()).min(socket)
    };
    Body::new(62.0, 1.0, depth, move |at| if depth(at) < 2.5 { 1200.0 } else { 180.0 })
}

fn params() -> StockParams {
    StockParams {
        spacing_rad: 12.0_f64.to_radians(),
        seat_spacing_mm: 22.0,
        ..StockParams::with(0, StrengthParams::with(line()))
    }
}

fn planned() -> Plan {
    let hole = Drilled { seat: [0.0, 0.0, 25.0], direction: [0.0, 0.0, 1.0], more: "" };
    let policy = "margin_mm = 2.0\nside_margin_mm = 6.0\n[[patch]]\nid = \"p\"\ncentre_mm = [0.0, 20.0, 20.0]\n\
                  direction = [0.0, 0.6, 0.8]\nradius_mm = 23.0";
    plan("15, 20, 25, 30, 35", policy, &[hole])
}

fn chart(params: &StockParams) -> (Body, Plan, Stock) {
    let (body, plan) = (hip(), planned());
    let found = stock(&body.scene(), &plan, params).expect("in range");
    (body, plan, found)
}

#[test]
fn every_number_is_that_of_a_hole_judged_on_the_same_line() {
    let params = params();
    let (body, mut plan, found) = chart(&params);
    let scene = body.scene();
    let (mut compared, mut walls, mut thin) = (0, 0, 0);
    for cell in found.charts.iter().flat_map(|chart| &chart.cells).step_by(17) {
        plan.holes[0].seat = cell.seat;
        plan.holes[0].direction = cell.direction;
        let hole = judge_hole(&scene, &plan, 0, &JudgeParams::OWN);
        let held = strength(&scene, &plan.screws[0], &hole, &params.strength).pullout;
        let tissue = |wanted: Tissue| -> f64 {
            let of = hole.segments.iter().filter(|s| s.tissue == wanted);
            of.fold(0.0, |sum, s| sum + (s.to_mm - s.from_mm))
        };
        assert_eq!(cell.bone, hole.bone);
        assert_eq!(cell.near_mm, hole.near.map(|e| e.at_mm));
        assert_eq!(cell.far_mm, hole.far.map(|e| e.at_mm));
        assert_eq!(cell.depth_mm(), hole.bone_depth_mm());
        assert_eq!(cell.length_mm, hole.length_mm);
        assert_eq!(cell.purchase_mm.to_bits(), hole.purchase_mm.to_bits());
        assert_eq!(cell.side_wall_mm.map(f64::to_bits), hole.side_wall_mm.map(f64::to_bits));
        let told = hole.findings.iter().any(|f| ["side.breach", "side.thin"].contains(&f.code));
        assert_eq!(cell.dangers.has(Dangers::SIDE_WALL), told);
        walls += usize::from(cell.side_wall_mm.is_some());
        thin += usize::from(told);
        assert_eq!(cell.thread_hu, hole.hu.map(|hu| hu.thread.mean));
        assert_eq!(cell.pullout_n, held.map(|p| p.estimate_n));
        assert_eq!(cell.beyond, hole.beyond);
        let known = [hole.near, hole.far].iter().flatten().all(|e| e.cortex_mm.is_some());
        let wanted = |of: Tissue| known.then(|| tissue(of).to_bits());
        assert_eq!(cell.cortical_mm.map(f64::to_bits), wanted(Tissue::Cortical));
        assert_eq!(cell.cancellous_mm.map(f64::to_bits), wanted(Tissue::Cancellous));
        compared += usize::from(cell.purchase_mm > 0.0);
    }
    assert!(compared > 20, "{compared}");
    assert!(thin > 0 && walls > thin, "{thin} of {walls}");
}

#[test]
fn without_its_thread_a_direction_is_the_same_but_for_what_the_thread_holds() {
    let (_, _, full) = chart(&params());
    let (_, _, quick) = chart(&StockParams { thread: false, ..params() });
    let mut read = 0;
    for (full, quick) in full.charts.iter().zip(&quick.charts) {
        for (a, b) in full.cells.iter().zip(&quick.cells) {
            read += usize::from(a.thread_hu.is_some() && a.pullout_n.is_some());
            assert_eq!((b.thread_hu, b.pullout_n, b.side_wall_mm), (None, None, None));
            assert!(!b.dangers.has(Dangers::SIDE_WALL));
            let StockCell { thread_hu, pullout_n, side_wall_mm, .. } = *a;
            let dangers = if a.dangers.has(Dangers::SIDE_WALL) { a.dangers } else { b.dangers };
            assert_eq!(*a, StockCell { thread_hu, pullout_n, side_wall_mm, dangers, ..*b });
        }
    }
    assert!(read > 20, "{read}");
}

#[test]
fn depth_is_that_of_the_egg() {
    let (_, _, found) = chart(&params());
    let centre = &found.charts[0];
    assert_eq!(centre.origin, StockOrigin::Centre);
    for cell in &centre.cells {
        // Along the line p + t d the stretched egg is a quadratic in t.
        let stretch = |v: [f64; 3]| Offset([v[0], v[1] * 0.8, v[2]]);
        let from = stretch((cell.seat - PatientPoint([6.0, 0.0, 14.0])).0);
        let along = stretch(cell.direction.components());
        let (a, b) = (along.dot(along), from.dot(along));
        let want = ((b * b - a * (from.dot(from) - 44.0 * 44.0)).sqrt() - b) / a;
        let far = cell.far_mm.expect("the egg ends");
        assert!((far - want).abs() < 0.5, "{far} for {want} along {:?}", cell.direction);
    }
}

#[test]
fn the_nearest_cell_is_the_nearest() {
    let (_, _, found) = chart(&params());
    let centre = &found.charts[0];
    for step in 0..150 {
        let probe = centre.pole.tilted(f64::from(step) * 0.0104, f64::from(step) * 0.77);
        let near = centre.nearest(probe).expect("within").direction.angle_rad(probe);
        let least = centre.cells.iter().map(|c| c.direction.angle_rad(probe)).fold(9.0, f64::min);
        assert!(near < least + 0.03, "{near} {least}");
    }
    assert_eq!(centre.nearest(-centre.pole), None);
}

#[test]
fn dangers_are_marked() {
    // A hip whose medial wall is a plate of 4 mm; the scan ends above.
    let depth = |at: PatientPoint| {
        let shell = 4.0 - ((at - PatientPoint([0.0; 3])).length_mm() - 27.0).abs();
        if at.0[2] > 5.0 { (at - PatientPoint([0.0; 3])).length_mm() - 23.0 } else { shell }
    };
    let body = Body::new(45.0, 1.0, depth, |_| 500.0);
    let plan = planned();
    let found = stock(&body.scene(), &plan, &params()).expect("in range");
    let has = |direction: [f64; 3], danger: Dangers| {
        let cell = found.charts[0].nearest(robust_common::unit(direction)).expect("within");
        cell.dangers.has(danger)
    };
    // A left hip: medial is towards the patient's right.
    assert!(has([-1.0, 0.0, 0.01], Dangers::THIN_MEDIAL_WALL));
    assert!(!has([1.0, 0.0, 0.01], Dangers::THIN_MEDIAL_WALL));
    assert!(has([1.0, 0.0, 0.01], Dangers::NO_LENGTH));
    assert!(has([0.0, 0.0, 1.0], Dangers::LEAVES_SCAN));
    let words: Vec<_> = found.charts[0].cells[0].dangers.words().collect();
    assert_eq!(words, ["leaves-scan"]);
}

#[test]
fn nothing_but_air_is_said() {
    let body = Body::new(62.0, 2.0, |_| -5.0, |_| 0.0);
    let plan = planned();
    let found = stock(&body.scene(), &plan, &params()).expect("in range");
    assert_eq!(found.findings.len(), found.charts.len());
    assert!(found.findings.iter().all(|f| f.code == "stock.no_bone"));
    assert!(found.charts[0].cells.iter().all(|c| c.dangers.has(Dangers::NO_BONE)));
}

#[test]
fn a_chart_too_fine_to_hold_is_refused_at_once() {
    let (body, plan) = (hip(), planned());
    let refused =
        |params: StockParams| stock(&body.scene(), &plan, &params).expect_err("out of range");
    let fine = refused(StockParams { spacing_rad: 1e-5, ..params() });
    assert!(matches!(fine, StockError::TooMany { wanted, limit: 500_000 } if wanted > 1e9));
    assert_eq!(fine.code(), "plan.range");
    let tiny = refused(StockParams { seat_spacing_mm: 1e-6, ..params() });
    assert!(matches!(tiny, StockError::TooMany { .. }));
    for spacing_rad in [0.0, -0.1, f64::NAN, 1.0] {
        let error = refused(StockParams { spacing_rad, ..params() });
        assert!(matches!(error, StockError::Range { name: "spacing_deg", .. }), "{error}");
        assert_eq!(error.code(), "plan.range");
    }
    let wide = refused(StockParams { seat_half_angle_rad: 3.1, ..params() });
    assert_eq!(wide.code(), "plan.range");
    assert_eq!(refused(StockParams { screw: 9, ..params() }).code(), "plan.screw");
}

#[test]
fn a_patch_is_charted_from_its_seats() {
    let (_, _, found) = chart(&params());
    let seats: Vec<_> = found
        .charts
        .iter()
        .filter(|chart| matches!(chart.origin, StockOrigin::Patch(0, _)))
        .map(|chart| chart.cells[0].seat)
        .collect();
    assert_eq!(seats.len(), 7);
    assert!(seats.iter().all(|s| s.distance_mm(PatientPoint([0.0, 20.0, 20.0])) < 23.1));
}

#[test]
fn any_thread_count_gives_the_same_chart() {
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("starts");
        pool.install(|| chart(&params()).2)
    };
    assert_eq!(run(1), run(3));
}
