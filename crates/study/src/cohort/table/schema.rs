//! Which columns a table has for a given manifest.

use super::column::{CASES, Column, FINDINGS, HOLES, JUDGED, KEYS, Kind};
use crate::cohort::error::CohortError;
use crate::cohort::manifest::Manifest;

/// The last column of every table.
const CAUTION: &str = "caution";

/// One column of a table as written.
#[derive(Clone, Debug)]
pub(crate) struct Head {
    pub(crate) name: String,
    pub(crate) kind: Kind,
    pub(crate) is_key: bool,
}

/// Columns in order.
#[derive(Clone, Debug)]
pub(crate) struct Schema(Vec<Head>);

impl Schema {
    /// Keys, fixed columns, the group's own.
    pub(crate) fn cases(manifest: &Manifest) -> Self {
        Self::new(&CASES).with_own(manifest)
    }

    /// Keys, fixed columns, truths and errors where the manifest names
    /// truths, the group's own.
    pub(crate) fn holes(manifest: &Manifest) -> Self {
        let mut schema = Self::new(&HOLES);
        if manifest.has_truth() {
            let judged = JUDGED.iter().flat_map(|(name, _)| ["truth", "error"].map(|p| (p, name)));
            schema.0.extend(judged.map(|(prefix, name)| Head {
                name: format!("{prefix}.{name}"),
                kind: Kind::Real,
                is_key: false,
            }));
        }
        schema.with_own(manifest)
    }

    /// Keys and fixed columns.
    pub(crate) fn findings() -> Self {
        Self::new(&FINDINGS)
    }

    /// Refuse a manifest whose own columns have names of the tables.
    ///
    /// # Errors
    ///
    /// [`CohortError::ColumnTaken`].
    pub(crate) fn check(manifest: &Manifest) -> Result<(), CohortError> {
        let own = manifest.columns().len();
        for schema in [Self::cases(manifest), Self::holes(manifest)] {
            let (fixed, added) = schema.0.split_at(schema.0.len() - own);
            let is_taken = |a: &&Head| a.name == CAUTION || fixed.iter().any(|f| f.name == a.name);
            if let Some(head) = added.iter().find(is_taken) {
                return Err(CohortError::ColumnTaken { name: head.name.clone() });
            }
        }
        Ok(())
    }

    /// And, last, what no number of the table is.
    pub(crate) fn with_caution(mut self) -> Self {
        self.0.push(Head { name: CAUTION.to_owned(), kind: Kind::Text, is_key: false });
        self
    }

    pub(crate) fn heads(&self) -> &[Head] {
        &self.0
    }

    pub(crate) fn width(&self) -> usize {
        self.0.len()
    }

    fn new(columns: &[Column]) -> Self {
        let head = |column: &Column, is_key| Head {
            name: column.name.to_owned(),
            kind: column.kind,
            is_key,
        };
        let keys = KEYS.iter().map(|column| head(column, true));
        Self(keys.chain(columns.iter().map(|column| head(column, false))).collect())
    }

    fn with_own(mut self, manifest: &Manifest) -> Self {
        let own = manifest.columns().iter();
        self.0.extend(own.map(|name| Head { name: name.clone(), kind: Kind::Text, is_key: false }));
        self
    }
}
