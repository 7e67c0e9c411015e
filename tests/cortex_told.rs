//! What is assumed of a bone's cortex is told by every command that measures it.

use std::fs;
use std::path::Path;

use pilothole_phantom::{Case, Recipe, SceneKind, SeriesHeader, write_series};
use pilothole_tests::{pilothole, said};
use serde_json::Value;

/// `bones.json` and `report.json` of a tube whose cortex is this thick.
fn told(home: &Path, cortex_mm: f64) -> [Value; 2] {
    let mut recipe = Recipe::of(SceneKind::Tube);
    recipe.grid.extent_mm = [72.0, 72.0, 104.0];
    recipe.bone.cortex_mm = cortex_mm;
    let phantom = Case::of(&recipe).and_then(Case::scan).expect("a sound recipe");
    let at = |name: &str| home.join(format!("{name}-{cortex_mm}"));
    write_series(&phantom.volume, &at("scan"), &SeriesHeader::default()).expect("written");
    fs::write(at("plan"), &phantom.plan_toml).expect("written");
    let path = |name: &str| at(name).to_str().expect("UTF-8").to_owned();
    let (scan, plan) = (path("scan"), path("plan"));
    let flags = ["--samples", "50", "--timeless"];
    let run = |words: &[&str], out: &str, file: &str| -> Value {
        let out = path(out);
        let mut all = words.to_vec();
        all.extend(["--out", &out]);
        all.extend(flags);
        let output = pilothole(&all);
        assert!(output.status.success(), "{:?}", said(&output));
        let text = fs::read(Path::new(&out).join(file)).expect("written");
        serde_json::from_slice(&text).expect("JSON")
    };
    [
        run(&["bone", &scan, "--plan", &plan], "bone", "bones.json"),
        run(&["assess", &scan, &plan], "report", "report.json"),
    ]
}

/// What a file says of cortex and blur: code, measured.
fn said_of_cortex(file: &Value) -> Vec<(String, Value)> {
    let findings = file["findings"].as_array().expect("a list");
    findings
        .iter()
        .map(|f| (f["code"].as_str().expect("a code").to_owned(), f["measured"].clone()))
        .filter(|(code, _)| code == "cortex.level_assumed" || code == "blur.unknown")
        .collect()
}

#[test]
fn a_level_that_is_assumed_is_told_with_the_bones_as_in_a_report() {
    let home = tempfile::tempdir().expect("a folder");
    let [thin, thick] = [1.0, 6.0].map(|cortex_mm| {
        let [bones, report] = told(home.path(), cortex_mm);
        let (of_bones, of_report) = (said_of_cortex(&bones), said_of_cortex(&report));
        let codes =
            |all: &[(String, Value)]| all.iter().map(|(c, _)| c.clone()).collect::<Vec<_>>();
        assert_eq!(codes(&of_bones), codes(&of_report), "{cortex_mm} mm");
        of_bones
    });
    assert!(
        thin.iter().any(|(code, hu)| code == "cortex.level_assumed" && hu.is_f64()),
        "{thin:?}"
    );
    assert!(thick.iter().all(|(code, _)| code != "cortex.level_assumed"), "{thick:?}");
}

#[test]
fn what_decides_whether_a_plate_fits_is_among_the_parameters() {
    let home = tempfile::tempdir().expect("a folder");
    let [_, report] = told(home.path(), 3.0);
    let parameters = report["parameters"].as_array().expect("a list");
    for (name, value, unit) in [
        ("blur.sd_share", 0.07, "1"),
        ("cortex.unexplained_sd", 0.3, "blur sd"),
        ("cortex.farthest_off", 0.3, "blur sd"),
        ("cortex.own_level_from", 2.5, "blur sd"),
        ("cortex.steepest", 70.0, "deg"),
    ] {
        let found = parameters.iter().find(|p| p["name"] == name).expect(name);
        let kept = found["value"].as_f64().expect("a number");
        assert!((kept - value).abs() < 1e-9, "{name}: {kept}");
        assert_eq!(found["unit"], unit, "{name}");
        assert!(found["source"].as_str().is_some_and(|s| !s.is_empty()), "{name}");
    }
}
