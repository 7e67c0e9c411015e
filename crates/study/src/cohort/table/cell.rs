//! One value of a table.

use serde_json::Value;

use super::column::{Column, Kind};

/// A value of one of the three types, or none.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cell {
    Empty,
    Text(String),
    Real(f64),
    Whole(i64),
}

impl Cell {
    /// The value that `json` holds for a column; `None` when it holds
    /// something of another type.
    pub(crate) fn from_json(kind: Kind, json: Option<&Value>) -> Option<Self> {
        let Some(json) = json.filter(|v| !v.is_null()) else { return Some(Self::Empty) };
        match kind {
            Kind::Real => json.as_f64().map(Self::Real),
            Kind::Whole => json.as_i64().map(Self::Whole),
            Kind::Text => match json {
                Value::String(text) => Some(Self::text(text.clone())),
                Value::Array(items) => {
                    let words: Option<Vec<&str>> = items.iter().map(Value::as_str).collect();
                    words.map(|words| Self::text(words.join(" ")))
                }
                _ => None,
            },
        }
    }

    /// For a line of a part; empty cells are left out there.
    pub(crate) fn to_json(&self) -> Option<Value> {
        match self {
            Self::Empty => None,
            Self::Text(text) => Some(Value::from(text.as_str())),
            Self::Real(number) => Some(Value::from(*number)),
            Self::Whole(number) => Some(Value::from(*number)),
        }
    }

    /// Text; no text is no value, so that CSV and Parquet say the same.
    pub(crate) fn text(text: String) -> Self {
        if text.is_empty() { Self::Empty } else { Self::Text(text) }
    }

    pub(crate) fn count(number: usize) -> Self {
        Self::Whole(number as i64)
    }

    pub(crate) fn as_real(&self) -> Option<f64> {
        match self {
            Self::Real(number) => Some(*number),
            _ => None,
        }
    }

    pub(crate) fn as_text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }
}

/// Cells of the columns that have a pointer; `None` where a value has another
/// type than its column.
pub(crate) fn pointed<'a>(
    columns: &'a [Column],
    json: &'a Value,
) -> impl Iterator<Item = Result<(&'static str, Cell), &'static str>> + 'a {
    columns.iter().filter(|column| !column.pointer.is_empty()).map(|column| {
        Cell::from_json(column.kind, json.pointer(column.pointer))
            .map(|cell| (column.name, cell))
            .ok_or(column.name)
    })
}
