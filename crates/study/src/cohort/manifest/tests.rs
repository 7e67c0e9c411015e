//! Manifests that can be used, and those that cannot, with the reason.

use super::*;

fn read(name: &str, text: &str) -> Result<Manifest, ManifestError> {
    let home = tempfile::tempdir().expect("a folder to work in");
    let path = home.path().join(name);
    fs::write(&path, text).expect("written");
    Manifest::read(&path)
}

fn problems(text: &str) -> Vec<String> {
    let error = read("m.csv", text).expect_err("cannot be used");
    error.problems.iter().map(ToString::to_string).collect()
}

#[test]
fn csv_and_toml_say_the_same() {
    let csv = read("m.csv", "\u{feff}case,scan,plan,age,site\n007,s/1,p.toml,61,\"a, b\"\n")
        .expect("sound");
    let toml = read(
        "m.toml",
        "[[case]]\ncase = \"007\"\nscan = \"s/1\"\nplan = \"p.toml\"\nage = 61\nsite = \"a, b\"\n",
    )
    .expect("sound");
    for manifest in [csv, toml] {
        assert_eq!(manifest.columns(), ["age", "site"]);
        assert_eq!(manifest.rows()[0].case, "007");
        assert_eq!(manifest.rows()[0].own, ["61", "a, b"]);
        assert!(manifest.rows()[0].scan.ends_with("s/1"));
        assert!(!manifest.has_truth());
    }
}

#[test]
fn every_problem_is_named_with_its_row() {
    assert_eq!(
        problems("case,scan,plan\na,s,p\nA,s,p\n../b,s,p\nc,,p\n"),
        [
            "row 4 names no scan or no plan",
            "rows 1 and 2 have the same case id",
            "row 3: the case's id must be 1 to 64 letters, digits, `-`, `_` or `.`, the first a letter or digit",
        ]
    );
    assert_eq!(problems("case;scan;plan\n").len(), 4);
    assert_eq!(problems("case,scan,plan\n"), ["it lists no case"]);
    assert_eq!(problems(""), ["it lists no case"]);
    assert_eq!(problems("case,scan,plan\na,s\n"), ["row 1 has 2 cells where the heading has 3"]);
    assert_eq!(
        problems("case,scan,plan,x,x,\na,s,p,1,2,3\n"),
        ["column `x` occurs twice", "column 6 has no name"]
    );
}

#[test]
fn a_message_names_no_path() {
    let error =
        read("m.csv", "case,scan,plan\nDoe John,/archive/doe_john,p\n").expect_err("bad id");
    assert!(!error.to_string().to_lowercase().contains("doe"));
}

#[test]
fn toml_is_refused_with_its_line_or_key() {
    for (text, expected) in [
        ("[[case]]\ncase = \n", "line 2 cannot be understood"),
        ("name = 1\n", "`name` is not known; a manifest holds `[[case]]` tables"),
        ("case = 3\n", "`case` is not a list of `[[case]]` tables"),
        (
            "[[case]]\ncase = \"a\"\nscan = [\"x\"]\nplan = \"p\"\n",
            "row 1: `scan` is not one value",
        ),
    ] {
        let error = read("m.toml", text).expect_err("cannot be used");
        assert_eq!(error.problems[0].to_string(), expected);
    }
}
