//! From bytes to heads and lines of text.

use super::ManifestProblem;

/// Heads and lines of equal width.
pub(super) struct Sheet {
    pub(super) heads: Vec<String>,
    pub(super) lines: Vec<Vec<String>>,
}

/// Comma-separated, first line the heads; a byte order mark is passed over.
pub(super) fn csv_sheet(bytes: &[u8]) -> Result<Sheet, ManifestProblem> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).trim(csv::Trim::All).from_reader(bytes);
    let mut lines = Vec::new();
    for (position, record) in reader.records().enumerate() {
        let record = record.map_err(|error| csv_problem(&error, position))?;
        lines.push(record.iter().map(str::to_owned).collect::<Vec<_>>());
    }
    if lines.is_empty() {
        return Err(ManifestProblem::Empty);
    }
    let heads = lines.remove(0);
    Ok(Sheet { heads, lines })
}

/// `row` is the position among all records, so the heads are row 0.
fn csv_problem(error: &csv::Error, row: usize) -> ManifestProblem {
    match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            ManifestProblem::Width { row, heads: *expected_len as usize, found: *len as usize }
        }
        csv::ErrorKind::Utf8 { .. } => ManifestProblem::NotText,
        _ => ManifestProblem::Syntax { line: row + 1 },
    }
}

/// `[[case]]` tables; heads are the keys of all of them, in alphabetical order.
pub(super) fn toml_sheet(bytes: &[u8]) -> Result<Sheet, ManifestProblem> {
    let text = std::str::from_utf8(bytes).map_err(|_error| ManifestProblem::NotText)?;
    let document: toml::Table = text.parse().map_err(|error: toml::de::Error| {
        let before = error.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
        ManifestProblem::Syntax { line: before.matches('\n').count() + 1 }
    })?;
    if let Some(key) = document.keys().find(|key| *key != "case") {
        return Err(ManifestProblem::UnknownKey { key: key.clone() });
    }
    let cases = match document.get("case") {
        None => return Err(ManifestProblem::Empty),
        Some(toml::Value::Array(cases)) => cases,
        Some(_) => return Err(ManifestProblem::NotTables),
    };
    let mut heads = std::collections::BTreeSet::new();
    for case in cases {
        let table = case.as_table().ok_or(ManifestProblem::NotTables)?;
        heads.extend(table.keys().cloned());
    }
    let heads: Vec<String> = heads.into_iter().collect();
    let mut lines = Vec::with_capacity(cases.len());
    for (position, case) in cases.iter().enumerate() {
        let cells = heads.iter().map(|head| match case.get(head) {
            None => Ok(String::new()),
            Some(value) => text_of(value).ok_or_else(|| ManifestProblem::NotOneValue {
                row: position + 1,
                key: head.clone(),
            }),
        });
        lines.push(cells.collect::<Result<Vec<_>, _>>()?);
    }
    Ok(Sheet { heads, lines })
}

/// A manifest as CSV.
///
/// - `heads`: `case`, `scan`, `plan`, optionally `truth`, then any others.
/// - `lines`: as many cells each as there are heads.
///
/// # Errors
///
/// A line of another width.
pub fn manifest_csv(heads: &[String], lines: &[Vec<String>]) -> std::io::Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(heads).map_err(std::io::Error::from)?;
    for line in lines {
        writer.write_record(line).map_err(std::io::Error::from)?;
    }
    writer.into_inner().map_err(|error| std::io::Error::from(error.error().kind()))
}

fn text_of(value: &toml::Value) -> Option<String> {
    match value {
        toml::Value::String(text) => Some(text.trim().to_owned()),
        toml::Value::Array(_) | toml::Value::Table(_) => None,
        other => Some(other.to_string()),
    }
}
