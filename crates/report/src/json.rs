//! `report.json` as text, and its schema.

use schemars::generate::SchemaSettings;

use crate::record::Record;
use crate::text::{is_harmful, put};

/// A record as JSON, indented, ending in a line break.
///
/// Characters that are invisible or turn the direction of text are written as
/// `\u` escapes, so the file is safe to look at and reads back unchanged.
///
/// # Panics
///
/// Never: the wire types have only text keys and finite numbers.
pub fn to_json<T: serde::Serialize>(record: &T) -> String {
    let text = serde_json::to_string_pretty(record)
        .expect("a record has only text keys and finite numbers");
    let mut escaped = String::with_capacity(text.len() + 1);
    let mut units = [0; 2];
    for c in text.chars() {
        if c != '\n' && is_harmful(c) {
            for unit in c.encode_utf16(&mut units) {
                put(&mut escaped, format_args!("\\u{unit:04x}"));
            }
        } else {
            escaped.push(c);
        }
    }
    escaped.push('\n');
    escaped
}

/// The JSON Schema (draft 2020-12) of `report.json`.
pub fn schema() -> String {
    let generator = SchemaSettings::draft2020_12().for_serialize().into_generator();
    let mut schema = generator.into_root_schema_for::<Record>();
    schema.insert("title".to_owned(), "Pilothole report".into());
    schema.insert("$id".to_owned(), Record::SCHEMA.into());
    to_json(&schema)
}

/// The record of a `report.json`.
///
/// # Errors
///
/// [`ReadError`] when it is not one of this version.
pub fn read_record(text: &str) -> Result<Record, ReadError> {
    let record: Record = serde_json::from_str(text)
        .map_err(|e| ReadError::Syntax { line: e.line(), column: e.column() })?;
    if record.schema == Record::SCHEMA {
        Ok(record)
    } else {
        Err(ReadError::Schema { found: record.schema })
    }
}

/// Why a text is not a report.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// Not JSON, or a field is missing or of another kind.
    #[error("not a report: line {line}, column {column}")]
    Syntax {
        /// From 1.
        line: usize,
        /// From 1.
        column: usize,
    },
    /// Another schema.
    #[error("schema `{found}` is not `{}`", Record::SCHEMA)]
    Schema {
        /// What the file states.
        found: String,
    },
}
