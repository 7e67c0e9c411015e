//! Holding strength against printed tables, measured screws and plain facts.

mod robust_common;

use pilothole_assess::strength::{
    CANNULATED, CortexLaw, DensityLine, ShearLaw, StrengthParams, apparent_g_cm3, ash_g_cm3,
    shear_mm, strength, thread_shape_factor, thread_shear_n,
};
use pilothole_assess::{HoleResult, JudgeParams, judge_hole};
use pilothole_plan::{Plan, Screw, thread_table};
use pilothole_volume::PatientPoint;
use robust_common::{Body, Drilled, plan, unit};

fn screw(name: &str) -> Screw {
    thread_table().into_iter().find(|s| s.name == name).expect("in the table")
}

fn thread(major_mm: f64, core_mm: f64, pitch_mm: f64) -> Screw {
    Screw { major_diameter_mm: major_mm, core_diameter_mm: core_mm, pitch_mm, ..screw("HB 6.5") }
}

#[test]
fn chapmans_table_comes_out_to_the_cent() {
    // Computed from the formula apart from this code: factor, F/(S·L), mm, and
    // F at 4 N/mm² over 20 mm, N.
    let rows = [
        ("HA 3.5", 0.75403, 8.29104, 663.28),
        ("HA 4.5", 0.74744, 10.56662, 845.33),
        ("HB 4.0", 0.84641, 10.63630, 850.90),
        ("HB 6.5", 0.86740, 17.71271, 1417.02),
    ];
    for (name, factor, per_sl, force) in rows {
        let screw = screw(name);
        assert!((thread_shape_factor(&screw) - factor).abs() < 5.1e-6, "{name}");
        assert!((shear_mm(&screw) - per_sl).abs() < 5.2e-6, "{name}: {}", shear_mm(&screw));
        let found = thread_shear_n(&screw, &[(20.0, 4.0)]);
        assert!((found - force).abs() < 0.0051, "{name}: {found}");
    }
    let layers = [(3.0, 20.0), (20.0, 4.0), (2.0, 20.0)];
    let found = thread_shear_n(&screw("HB 6.5"), &layers);
    assert!((found - 3188.29).abs() < 0.0051, "{found}");
    let back: Vec<_> = layers.iter().rev().copied().collect();
    assert!((thread_shear_n(&screw("HB 6.5"), &back) - found).abs() < 1e-9);
    assert!(thread_shear_n(&screw("HB 6.5"), &[]).abs() < 1e-12);
    assert!((thread_shape_factor(&thread(6.5, 6.5 - 1e-9, 2.75)) - 0.5).abs() < 1e-9);
}

/// Weidling M et al. 2022, Sci Rep 12:8051, Table 2, foam of 237 kg/m³: outer
/// and mean core diameter, pitch, mm; pull-out, N.
const WEIDLING: [(&str, f64, f64, f64, f64); 11] = [
    ("ST1 6", 6.0, 3.65, 3.00, 870.0),
    ("ST1 7", 7.0, 4.04, 3.00, 931.0),
    ("ST2 6", 6.0, 3.86, 3.00, 855.0),
    ("ST2 7", 7.0, 3.94, 3.00, 923.0),
    ("ST3 6.2", 6.2, 4.36, 2.00, 965.0),
    ("ST3 7", 7.0, 5.03, 2.00, 1074.0),
    ("ST4 6.5", 6.5, 4.15, 4.00, 902.0),
    ("ST4 7.5", 7.5, 4.78, 4.00, 975.0),
    ("ST5 6.5", 6.5, 4.25, 2.75, 966.0),
    ("ST5 7.5", 7.5, 4.99, 2.75, 1072.0),
    ("ST6 6.5", 6.5, 4.45, 2.80, 858.0),
];

fn ranks(values: &[f64]) -> Vec<f64> {
    values.iter().map(|v| values.iter().filter(|o| *o < v).count() as f64).collect()
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let (ma, mb) = (mean(a), mean(b));
    let product = |x: &[f64], mx: f64, y: &[f64], my: f64| -> f64 {
        x.iter().zip(y).map(|(p, q)| (p - mx) * (q - my)).sum()
    };
    product(a, ma, b, mb) / (product(a, ma, a, ma) * product(b, mb, b, mb)).sqrt()
}

#[test]
#[expect(clippy::print_stdout, reason = "the correlations are for a reader")]
fn eleven_measured_screws_lie_within_fifteen_percent_of_one_fit() {
    let shape: Vec<f64> =
        WEIDLING.iter().map(|(_, d, core, p, _)| shear_mm(&thread(*d, *core, *p))).collect();
    let force: Vec<f64> = WEIDLING.iter().map(|row| row.4).collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let fitted = dot(&shape, &force) / dot(&shape, &shape);
    assert!((fitted - 60.28).abs() < 0.3, "{fitted} N/mm");
    let mut squares = 0.0;
    for (row, shape) in WEIDLING.iter().zip(&shape) {
        let off = fitted * shape / row.4 - 1.0;
        squares += off * off;
        assert!(off.abs() < 0.15, "{}: {off}", row.0);
    }
    let rms = (squares / 11.0_f64).sqrt();
    assert!((rms - 0.07).abs() < 0.005, "{rms}");
    let pearson = correlation(&shape, &force);
    let spearman = correlation(&ranks(&shape), &ranks(&force));
    println!("11 screws in foam: Pearson {pearson:.3}, rank correlation {spearman:.3}");
    assert!((pearson - 0.739).abs() < 0.01, "{pearson}");
    assert!(spearman > 0.5, "{spearman}");
}

#[test]
fn strength_grows_as_asnis_measured() {
    // Asnis SE et al. 1996, J Orthop Trauma 10:462: density first, then outer
    // diameter, then a finer pitch, then a thinner core.
    let base = shear_mm(&thread(6.4, 4.0, 2.5));
    assert!(base > shear_mm(&thread(4.5, 4.0, 2.5)));
    assert!(shear_mm(&thread(6.4, 4.0, 2.0)) > base);
    assert!(shear_mm(&thread(6.4, 3.5, 2.5)) > base);
    for law in [
        ShearLaw::STONE_1983,
        ShearLaw::CARTER_HAYES_1977,
        ShearLaw::KELLER_1994,
        ShearLaw::KEYAK_1998,
    ] {
        let mut last = 0.0;
        for step in 0..60 {
            let mpa = law.shear(f64::from(step) * 0.01).mpa;
            assert!(mpa >= last, "{}", law.name);
            last = mpa;
        }
    }
    // 0.15 to 0.22 g/ml changes strength more than 4.5 to 6.4 mm does.
    let by_density = (0.22_f64 / 0.15).powf(ShearLaw::STONE_1983.exponent);
    let by_diameter = base / shear_mm(&thread(4.5, 3.0, 2.5));
    assert!(by_density > by_diameter, "{by_density} {by_diameter}");
}

#[test]
fn the_density_chain_has_its_worked_numbers() {
    // QCT, ash, apparent, g/cm³; Stone shear, Carter and Hayes, Keyak, Keller
    // compression, N/mm²; computed apart from this code.
    let rows = [
        (0.05, 0.1229, 0.2048, 1.578, 2.163, 2.34, 2.04),
        (0.10, 0.1667, 0.2778, 2.610, 3.982, 4.06, 3.69),
        (0.20, 0.2544, 0.4240, 5.243, 9.273, 8.68, 8.33),
        (0.40, 0.4298, 0.7163, 12.456, 26.469, 22.31, 22.93),
    ];
    let root = 3.0_f64.sqrt();
    for (qct, ash, apparent, stone, carter, keyak, keller) in rows {
        let near = |got: f64, want: f64, unit: f64| {
            assert!((got - want).abs() <= 0.51 * unit, "{qct}: {got} != {want}");
        };
        near(ash_g_cm3(qct), ash, 1e-4);
        near(apparent_g_cm3(qct), apparent, 1e-4);
        near(ShearLaw::STONE_1983.shear(qct).mpa, stone, 1e-3);
        near(ShearLaw::CARTER_HAYES_1977.shear(qct).mpa * root, carter, 1e-3);
        near(ShearLaw::KEYAK_1998.shear(qct).mpa * root, keyak, 1e-2);
        near(ShearLaw::KELLER_1994.shear(qct).mpa * root, keller, 1e-2);
    }
    // Past the range of cancellous laws nothing is extrapolated.
    let dense = ShearLaw::STONE_1983.shear(0.8);
    assert!(!dense.inside && dense.mpa < 33.34);
    let fat = ShearLaw::STONE_1983.shear(-0.06);
    assert!(!fat.inside && fat.mpa <= 0.0);
    let compact = CortexLaw::TURNER_2001;
    assert!((compact.shear_mpa(2.0) - 51.6).abs() < 1e-12);
}

/// The line of a calibration that gives 0.2 g HA/cm³ at 200 HU.
fn line() -> DensityLine {
    DensityLine {
        slope: 1.0,
        intercept: 0.0,
        slope_sd: 0.05,
        intercept_sd: 5.0,
        valid_hu: [-100.0, 1500.0],
        source: "test".to_owned(),
    }
}

/// A uniform block with its far face 50 mm past the seat.
fn block(hu: f64) -> (Body, Plan, HoleResult) {
    let direction = unit([0.1, 0.2, 0.9]);
    let seat = PatientPoint([-2.0, -4.0, -22.0]);
    let depth = move |at: PatientPoint| {
        let along = (at - seat).dot(direction.offset());
        (50.0 - along).min(along + 8.0)
    };
    let body = Body::new(40.0, 1.0, depth, move |_| hu);
    let hole = Drilled { seat: seat.0, direction: direction.components(), more: "" };
    let plan = plan("20, 30, 40", "margin_mm = 2.0", &[hole]);
    let judged = judge_hole(&body.scene(), &plan, 0, &JudgeParams::OWN);
    (body, plan, judged)
}

#[test]
fn uniform_bone_holds_what_the_closed_form_says() {
    let (body, plan, hole) = block(200.0);
    let params = StrengthParams::with(line());
    let found = strength(&body.scene(), &plan.screws[0], &hole, &params);
    let pullout = found.pullout.expect("held");
    let want = 17.71271 * 40.0 * 5.243;
    assert!((pullout.estimate_n / want - 1.0).abs() < 2e-4, "{} {want}", pullout.estimate_n);
    assert!(pullout.low_n < pullout.estimate_n && pullout.estimate_n < pullout.high_n);
    assert_eq!(pullout.other_laws.len(), 3);
    let keller = pullout.other_laws.iter().find(|law| law.0 == "Keller 1994").expect("shown");
    let keller_n = 17.71271 * 40.0 * 8.33 / 3.0_f64.sqrt();
    assert!((keller.1 / keller_n - 1.0).abs() < 1e-3, "{}", keller.1);
    assert!(found.findings.is_empty(), "{:?}", found.findings);
    let sum: f64 = pullout.shares.iter().map(|share| share.1).sum();
    assert!((sum - 1.0).abs() < 1e-12);
    assert_eq!(pullout.shares[0].0, "strength law");
    let cannulated = StrengthParams { thread_scale: CANNULATED, ..params };
    let less = strength(&body.scene(), &plan.screws[0], &hole, &cannulated).pullout.expect("held");
    assert!((less.estimate_n / pullout.estimate_n - 0.83).abs() < 1e-12);
}

#[test]
fn the_band_of_one_source_is_that_of_its_distribution() {
    let (body, plan, hole) = block(200.0);
    let still = DensityLine { slope_sd: 0.0, intercept_sd: 0.0, ..line() };
    let mut params = StrengthParams { thread_sd: 0.0, ..StrengthParams::with(still) };
    params.samples = 4096;
    let at = |params: &StrengthParams| {
        strength(&body.scene(), &plan.screws[0], &hole, params).pullout.expect("held")
    };
    let found = at(&params);
    let z95 = 1.644_853_6;
    assert!((found.high_n / found.estimate_n - (0.25_f64 * z95).exp()).abs() < 0.01);
    assert!((found.low_n / found.estimate_n - (-0.25_f64 * z95).exp()).abs() < 0.01);
    assert!((found.shares[0].1 - 1.0).abs() < 1e-12);
    params.laws[0].spread = 0.0;
    params.thread_sd = 0.07;
    let found = at(&params);
    assert!((found.high_n / found.estimate_n - (1.0 + 0.07 * z95)).abs() < 0.003);
    assert_eq!(found.shares[0].0, "thread shape");
    let again = at(&params);
    assert_eq!(found, again);
}

#[test]
fn what_the_laws_do_not_cover_is_said_and_holds_nothing() {
    let (body, plan, hole) = block(200.0);
    let scene = body.scene();
    let with =
        |line: DensityLine| strength(&scene, &plan.screws[0], &hole, &StrengthParams::with(line));
    let fat = with(DensityLine { intercept: -260.0, ..line() });
    assert_eq!(fat.pullout, None);
    assert_eq!(fat.findings[0].code, "strength.outside_law");
    assert_eq!(fat.findings[0].hole, Some(0));
    let narrow = with(DensityLine { valid_hu: [-50.0, 150.0], ..line() });
    assert!(narrow.pullout.is_some());
    assert_eq!(narrow.findings[0].code, "strength.beyond_calibration");
    let mut none = hole.clone();
    none.length_mm = None;
    let found = strength(&scene, &plan.screws[0], &none, &StrengthParams::with(line()));
    assert_eq!((found.pullout, found.findings.len()), (None, 0));
}

// 795 N/mm² of Ti-6Al-4V ELI (`published_values_2.md` §2.3) on a core of 3.0 mm
// (ISO 5835, HB 6.5): π/4 · 3.0² · 795 = 5,619.6 N.
#[test]
fn a_pull_out_above_what_the_core_carries_is_said() {
    let (body, plan, hole) = block(600.0);
    let code = |params: &StrengthParams| {
        let found = strength(&body.scene(), &plan.screws[0], &hole, params);
        let told = found.findings.iter().find(|finding| finding.code == "strength.core_yields");
        (
            found.pullout.expect("held").estimate_n,
            told.map(|finding| (finding.measured, finding.limit)),
        )
    };
    let strong = StrengthParams::with(line());
    let (estimate_n, told) = code(&strong);
    assert!(estimate_n > 5_619.6, "{estimate_n}");
    let (measured, limit) = told.expect("said");
    assert_eq!(measured, Some(estimate_n));
    assert!((limit.expect("a limit") - 5_619.6).abs() < 0.1);
    let weak = StrengthParams { thread_scale: 5_000.0 / estimate_n, ..strong };
    assert_eq!(code(&weak).1, None);
}
