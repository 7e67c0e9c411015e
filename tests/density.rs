//! Densities on scans of known inserts: a real phantom, and our own.

use pilothole_bone::density::{Calibration, CalibrationSource};
use pilothole_plan::{Format, Plan};
use pilothole_study::{CaseParams, calibrate, open};
use pilothole_tests::{aloud, real_scans};

/// Material, density, mg/cm³, and centre, LPS, mm, of the seven plastics and
/// air of the phantom (`inserts.json` beside the scan), and the maker's
/// nominal HU.
const INSERTS: [(&str, f64, [f64; 3], f64); 8] = [
    ("air", 1.0, [-124.3, -184.1, -0.7], -1000.0),
    ("PMP", 830.0, [-154.8, -176.1, -0.8], -200.0),
    ("LDPE", 920.0, [-183.0, -125.4, -1.0], -100.0),
    ("polystyrene", 1050.0, [-152.7, -74.0, -0.8], -35.0),
    ("acrylic", 1180.0, [-93.8, -74.6, -0.5], 120.0),
    ("Delrin", 1420.0, [-65.1, -126.4, -0.3], 340.0),
    ("Teflon", 2160.0, [-95.6, -177.1, -0.5], 990.0),
    ("air", 1.0, [-123.2, -66.2, -0.6], -1000.0),
];

/// A plan without holes whose calibration asks for the inserts.
fn plan(of: impl Fn(usize) -> f64) -> Plan {
    let mut text = String::from(
        r#"schema = "pilothole/plan/1"
side = "left"
coordinates = "LPS"
[socket]
centre_mm = [-124.0, -125.0, 0.0]
axis = [0.0, 0.0, -1.0]
outer_diameter_mm = 50.0
[calibration]
material = "HA"
"#,
    );
    for (index, (_, _, [x, y, z], _)) in INSERTS.iter().enumerate() {
        let density = of(index);
        let insert = format!(
            "[[calibration.insert]]\nat_mm = [{x:.1}, {y:.1}, {z:.1}]\n\
             density_mg_cm3 = {density:.1}\nradius_mm = 3.5\n"
        );
        text.push_str(&insert);
    }
    Plan::parse(&text, Format::Toml).expect("the plan is sound")
}

fn fitted(of: impl Fn(usize) -> f64) -> Option<(Calibration, f64, Vec<f64>)> {
    let data = real_scans()?;
    let params = CaseParams::timeless();
    let scan = open(&data.join("density_phantom_cbct/series.zip"), &params.limits).expect("opens");
    let intake = scan.read(None, &params.limits).expect("is read");
    let calibrated = calibrate(&plan(of), &intake, &params).expect("the inserts give a line");
    assert_eq!(calibrated.from, "inserts");
    let CalibrationSource::Inserts { r_squared, residuals } = &calibrated.calibration.source else {
        panic!("inserts were asked for");
    };
    let (r_squared, residuals) = (*r_squared, residuals.clone());
    Some((calibrated.calibration, r_squared, residuals))
}

/// The plastics' densities rise with HU; the line's numbers are those of an
/// ordinary least squares of `inserts.json`, done apart from this code:
/// slope 1.0749, intercept 1063.8, R² 0.99904, residuals +10, -17, -33, +34,
/// -11, -12, +20, +10 mg/cm³. Their size is chemistry, not noise: plastics of
/// one density differ in atomic number.
#[test]
fn the_real_density_phantom_gives_its_line_with_residuals() {
    let Some((line, r_squared, residuals)) = fitted(|index| INSERTS[index].1) else { return };
    aloud(&format!(
        "density phantom: {:.4} mg/cm3 per HU, {:.1} mg/cm3 at 0 HU, R2 {r_squared:.5}, residuals {residuals:.0?}",
        line.slope, line.intercept
    ));
    assert!((line.slope - 1.0749).abs() < 0.006, "{}", line.slope);
    assert!((line.intercept - 1063.8).abs() < 3.0, "{}", line.intercept);
    assert!((r_squared - 0.99904).abs() < 2e-4, "{r_squared}");
    let apart = [9.8, -17.0, -33.0, 34.5, -11.3, -12.2, 19.6, 9.6];
    for ((found, known), insert) in residuals.iter().zip(apart).zip(&INSERTS) {
        assert!((found - known).abs() < 4.0, "{}: {found} not {known}", insert.0);
    }
    // Teflon is the densest: beyond it nothing is promised.
    assert!(line.density(900.0).sd_mg_cm3 > line.density(0.0).sd_mg_cm3);
    assert!(!line.density(900.0).extrapolated && line.density(1100.0).extrapolated);
}

/// The maker's nominal HU, fitted against what the scan shows: a slope of one
/// and no offset, within 12 HU for every insert.
#[test]
fn the_real_density_phantom_has_its_nominal_hounsfield_units() {
    let nominal = |index: usize| INSERTS[index].3 + 2000.0;
    let Some((line, r_squared, residuals)) = fitted(nominal) else { return };
    aloud(&format!(
        "nominal HU: {:.4} · HU {:+.1}, R2 {r_squared:.5}, residuals {residuals:.0?}",
        line.slope,
        line.intercept - 2000.0
    ));
    assert!((line.slope - 1.0).abs() < 0.01, "{}", line.slope);
    assert!((line.intercept - 2000.0).abs() < 5.0, "{}", line.intercept);
    assert!(residuals.iter().all(|hu| hu.abs() < 12.0), "{residuals:.1?}");
}
