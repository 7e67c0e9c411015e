//! The three tables, each as CSV and as Parquet, written row by row.

mod cell;
mod column;
mod comma;
mod dictionary;
mod parquet_file;
mod schema;

use std::fs::File;
use std::io::{self, BufWriter};
use std::path::Path;

use pilothole_report::SHORT_CAUTION;

use super::error::CohortError;

pub(crate) use cell::{Cell, pointed};
pub(crate) use column::{CASES, Column, FINDINGS, HOLES, JUDGED};
pub use dictionary::dictionary;
pub(crate) use schema::Schema;

use comma::Comma;
use parquet_file::ParquetFile;

/// One table in both forms.
pub(crate) struct Table {
    name: &'static str,
    schema: Schema,
    comma: Comma,
    parquet: ParquetFile,
}

impl Table {
    /// Begin `<name>.csv` and `<name>.parquet` in a folder.
    ///
    /// # Errors
    ///
    /// [`CohortError::Table`].
    pub(crate) fn begin(
        folder: &Path,
        name: &'static str,
        schema: Schema,
    ) -> Result<Self, CohortError> {
        let schema = schema.with_caution();
        let failed = |error: io::Error| CohortError::Table { table: name, kind: error.kind() };
        let open = |ending: &str| -> io::Result<BufWriter<File>> {
            let file = File::create_new(folder.join(format!("{name}.{ending}")))?;
            Ok(BufWriter::with_capacity(1 << 18, file))
        };
        let comma = Comma::begin(open("csv").map_err(failed)?, &schema).map_err(failed)?;
        let parquet = open("parquet")
            .and_then(|file| ParquetFile::begin(file, name, &schema))
            .map_err(failed)?;
        Ok(Self { name, schema, comma, parquet })
    }

    /// Append one row; the caution follows of itself.
    ///
    /// # Errors
    ///
    /// [`CohortError::Table`].
    pub(crate) fn push(&mut self, mut cells: Vec<Cell>) -> Result<(), CohortError> {
        cells.push(Cell::Text(SHORT_CAUTION.to_owned()));
        debug_assert_eq!(cells.len(), self.schema.width(), "a cell for every column");
        let failed = |error: io::Error| CohortError::Table { table: self.name, kind: error.kind() };
        self.comma.push(&cells).map_err(failed)?;
        self.parquet.push(&cells).map_err(failed)
    }

    /// Complete and sync both files.
    ///
    /// # Errors
    ///
    /// [`CohortError::Table`].
    pub(crate) fn finish(self) -> Result<(), CohortError> {
        let failed = |error: io::Error| CohortError::Table { table: self.name, kind: error.kind() };
        self.comma.finish().map_err(failed)?;
        self.parquet.finish().map_err(failed)
    }
}
