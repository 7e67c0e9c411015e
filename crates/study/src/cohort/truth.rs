//! Answers that are known, beside what was measured.
//!
//! `truth.json` holds `{"holes":[{"id":…, "near_cortex_mm":…, …}]}`; its
//! fields are those that a phantom is written with.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::{Map, Value};

use super::table::{Cell, JUDGED};

/// Answers by hole.
#[derive(Debug, Default)]
pub(crate) struct Truth(BTreeMap<String, Value>);

impl Truth {
    /// Read the answers of a case; `None` where they cannot be read.
    pub(crate) fn read(path: &Path) -> Option<Self> {
        let document: Value = serde_json::from_slice(&fs::read(path).ok()?).ok()?;
        let holes = document.get("holes")?.as_array()?;
        let answers = holes
            .iter()
            .filter_map(|hole| Some((hole.get("id")?.as_str()?.to_owned(), hole.clone())));
        Some(Self(answers.collect()))
    }

    /// For each judged column the answer and the error, measured less known.
    pub(crate) fn cells(&self, hole: &Map<String, Value>) -> Vec<Cell> {
        let id = hole.get("id").and_then(Value::as_str).unwrap_or_default();
        let answers = self.0.get(id);
        let pair = |(column, answer): &(&str, &str)| {
            let known = answers.and_then(|a| a.get(answer)).and_then(Value::as_f64);
            let measured = hole.get(*column).and_then(Value::as_f64);
            let error = measured.zip(known).map(|(measured, known)| measured - known);
            [known, error].map(|number| number.map_or(Cell::Empty, Cell::Real))
        };
        JUDGED.iter().flat_map(pair).collect()
    }
}
