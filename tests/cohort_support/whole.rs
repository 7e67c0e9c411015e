//! What lies in place in an output folder is whole.

use std::fs;
use std::path::Path;

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::columns;

/// Nothing but what the documentation lists.
pub(crate) fn top(out: &Path) {
    let known = [".private", ".tmp", "cases", "parts", "tables"];
    for name in names(out) {
        assert!(known.contains(&name.as_str()), "{name} lies in the output folder");
    }
    for name in names(&out.join("cases")) {
        let is_hex = name.len() == 2 && name.bytes().all(|b| b.is_ascii_hexdigit());
        assert!(is_hex, "{name} lies among the cases");
    }
}

/// A case of which nothing more than the report was asked for.
pub(crate) fn case(folder: &Path) {
    let read = |name: &str| fs::read(folder.join(name)).expect("a case in place has its files");
    let json = |name: &str| -> Value {
        serde_json::from_slice(&read(name)).expect("a file in place is whole")
    };
    let record = json("case.json");
    assert!(folder.ends_with(record["case"].as_str().expect("it names its case")));
    if record["outcome"] == "done" {
        assert_eq!(names(folder), ["case.json", "report.json"]);
        assert_eq!(json("report.json")["schema"], "pilothole/report/1");
        let digest = hex(&Sha256::digest(read("report.json")));
        assert_eq!(record["report"], digest.as_str(), "the report that the record speaks of");
    } else {
        assert_eq!(names(folder), ["case.json"]);
        assert!(!record["refused"].as_array().expect("a list").is_empty(), "a reason");
    }
}

/// Every part.
pub(crate) fn parts(out: &Path) {
    for name in names(&out.join("parts")) {
        let text = fs::read_to_string(out.join("parts").join(name)).expect("readable");
        assert!(text.ends_with('\n'), "a part in place is whole");
        for line in text.lines() {
            serde_json::from_str::<Value>(line).expect("a line is whole");
        }
    }
}

/// The tables, where there are any: seven files of the same rows.
pub(crate) fn tables(out: &Path) {
    let folder = out.join("tables");
    if !folder.exists() {
        return;
    }
    assert_eq!(names(&folder).len(), 7, "tables are in place together");
    for table in ["cases", "holes", "findings"] {
        let csv = csv::Reader::from_path(folder.join(format!("{table}.csv"))).expect("there");
        let rows: Vec<_> = csv.into_records().collect::<Result<_, _>>().expect("whole rows");
        let parquet = columns::read(&folder.join(format!("{table}.parquet")));
        assert!(parquet.iter().all(|(_, cells)| cells.len() == rows.len()), "{table}");
    }
    let page = fs::read_to_string(folder.join("cohort.html")).expect("there");
    assert!(page.trim_end().ends_with("</html>"), "the page is whole");
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a string takes all");
        text
    })
}

/// Names in a folder, sorted; none where there is no folder.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> =
        entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}
