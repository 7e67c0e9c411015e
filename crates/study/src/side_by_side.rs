//! Reports side by side.

use std::fs;
use std::path::{Path, PathBuf};

use pilothole_report::{Record, compare, read_record, write_compare};

use crate::error::{CaseError, io_words};
use crate::folder::{Folder, Replace};

/// Names that a comparison's folder may hold.
const NAMES: [&str; 3] = ["compare.json", "compare.csv", "compare.html"];

/// Largest report that is read, bytes.
const MAX_REPORT_BYTES: u64 = 256 << 20;

/// Whether reports of different scans may be compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scans {
    /// They must be of one scan.
    Same,
    /// They may be of different scans.
    MayDiffer,
}

/// Compare reports, each against the first, and write the comparison; answers
/// with what `compare.json` holds.
///
/// # Errors
///
/// [`CaseError::Usage`] when a report cannot be read, or when they are of
/// different scans and that was not allowed.
pub fn write_comparison(
    reports: &[PathBuf],
    out: (&Path, Replace),
    scans: Scans,
) -> Result<String, CaseError> {
    let folder = Folder::begin(out.0, &NAMES, out.1)?;
    let records = reports
        .iter()
        .enumerate()
        .map(|(index, path)| read_report(index, path))
        .collect::<Result<Vec<_>, _>>()?;
    let comparison = compare(&records);
    if !comparison.same_scan && scans == Scans::Same {
        return Err(CaseError::Usage(
            "the reports are of different scans, by digest; add --different-scans if that is meant"
                .to_owned(),
        ));
    }
    let files = write_compare(&comparison);
    for (name, bytes) in &files {
        folder.write(name, bytes)?;
    }
    folder.finish()?;
    let json = files.into_iter().find(|(name, _)| *name == "compare.json");
    Ok(json.map(|(_, bytes)| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default())
}

/// Read `report.json`, or the one in a folder of results.
fn read_report(index: usize, path: &Path) -> Result<Record, CaseError> {
    let refuse = |why: String| CaseError::Usage(format!("report {}: {why}", index + 1));
    let file = if path.is_dir() { path.join("report.json") } else { path.to_path_buf() };
    let found = fs::metadata(&file)
        .map_err(|e| refuse(format!("cannot be read: {}", io_words(e.kind()))))?;
    if found.len() > MAX_REPORT_BYTES {
        return Err(refuse("is larger than a report may be".to_owned()));
    }
    let bytes =
        fs::read(&file).map_err(|e| refuse(format!("cannot be read: {}", io_words(e.kind()))))?;
    let text = String::from_utf8(bytes).map_err(|_utf8| refuse("is not UTF-8 text".to_owned()))?;
    read_record(&text).map_err(|error| refuse(format!("is no report: {error}")))
}
