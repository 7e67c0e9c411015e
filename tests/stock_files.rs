//! A chart's files as researchers read them, and against single holes.

mod ball;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use pilothole_phantom::{SeriesHeader, Solid, Tissue};
use pilothole_tests::{aloud, pilothole, root, said};
use pilothole_volume::PatientPoint;

fn plan(seat: [f64; 3], direction: [f64; 3]) -> String {
    format!(
        "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n[socket]\n\
         centre_mm = [0.0, 0.0, -29.5]\naxis = [0.0, 0.0, -1.0]\nouter_diameter_mm = 20.0\n\
         [[hole]]\nid = \"one\"\nzone = \"cup\"\nseat_mm = {seat:?}\ndirection = {direction:?}\n\
         screw = \"HB 6.5\"\n"
    )
}

/// A ball of bone with a softer core in muscle, and its chart.
fn charted(home: &Path) -> String {
    let centre = PatientPoint([0.0; 3]);
    let mut scene = ball::ball();
    scene.paint(Solid::Ball { centre, radius_mm: 17.0 }, Tissue::Cancellous, 300.0, 1);
    ball::write(&scene, &home.join("scan"), &SeriesHeader::default());
    fs::write(home.join("plan.toml"), plan([0.0, 0.0, -21.0], [0.0, 0.0, 1.0])).expect("written");
    let path = |name: &str| home.join(name).to_str().expect("UTF-8").to_owned();
    let run = pilothole(&[
        "stock",
        &path("scan"),
        &path("plan.toml"),
        "--out",
        &path("stock"),
        "--spacing-deg",
        "6",
        "--seat-spacing-mm",
        "20",
    ]);
    assert_eq!(run.status.code(), Some(0), "{}", said(&run).1);
    path("stock")
}

#[test]
fn numpy_reads_the_table_and_the_surface() {
    let python = ["python3", "/opt/py/bin/python"].into_iter().find(|python| {
        let run = Command::new(python).args(["-c", "import numpy"]).output();
        run.is_ok_and(|run| run.status.success())
    });
    let Some(python) = python else {
        aloud("skipped: no Python with numpy");
        return;
    };
    let home = tempfile::tempdir().expect("a folder");
    let stock = charted(home.path());
    let script = root().join("tests/reference/stock_files.py");
    let run = Command::new(python).arg(script).arg(&stock).output().expect("it runs");
    assert!(run.status.success(), "{}", said(&run).1);
}

#[test]
fn a_direction_of_the_chart_has_the_numbers_of_its_report() {
    let home = tempfile::tempdir().expect("a folder");
    let stock = charted(home.path());
    let table = fs::read_to_string(Path::new(&stock).join("stock.csv")).expect("there");
    let mut lines = table.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let heads = lines.next().expect("heads");
    let rows: Vec<BTreeMap<&str, &str>> =
        lines.map(|row| heads.iter().copied().zip(row).collect()).collect();
    let mut compared = 0;
    // The pole is along an axis, so that its seat and direction are exact in
    // the table; elsewhere the table rounds what the chart was measured with.
    for row in rows.iter().filter(|row| row["polar_deg"] == "0" && row["chart"] == "centre") {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let seat = ["seat_l_mm", "seat_p_mm", "seat_s_mm"].map(number);
        let direction = ["direction_l", "direction_p", "direction_s"].map(number);
        fs::write(home.path().join("one.toml"), plan(seat, direction)).expect("written");
        let path = |name: &str| home.path().join(name).to_str().expect("UTF-8").to_owned();
        let args = ["assess", &path("scan"), &path("one.toml"), "--out", &path("one")];
        let run = pilothole(&args);
        assert_eq!(run.status.code(), Some(0), "{}", said(&run).1);
        let text = fs::read_to_string(home.path().join("one/report.json")).expect("there");
        let report: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        let hole = &report["holes"][0];
        let pairs = [
            ("near_cortex_mm", &hole["near_cortex_mm"]),
            ("far_cortex_mm", &hole["far_cortex_mm"]),
            ("bone_depth_mm", &hole["bone_depth_mm"]),
            ("length_mm", &hole["length_mm"]),
            ("purchase_mm", &hole["purchase_mm"]),
            ("side_wall_mm", &hole["side_wall_mm"]),
            ("thread_mean_hu", &hole["hu"]["thread"]["mean"]),
            ("pullout_n", &hole["pullout_n"]["estimate"]),
        ];
        for (name, reported) in pairs {
            let charted = row[name].parse::<f64>().ok();
            assert_eq!(charted, reported.as_f64(), "{name}");
            compared += usize::from(charted.is_some());
        }
    }
    assert!(compared >= 7, "{compared}");
}
