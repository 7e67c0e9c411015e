//! CSV: UTF-8, comma, LF, a heading; an empty field is no value.

use std::fs::File;
use std::io::{self, BufWriter};

use super::cell::Cell;
use super::schema::Schema;

/// A CSV file in the making.
pub(super) struct Comma(csv::Writer<BufWriter<File>>);

impl Comma {
    pub(super) fn begin(file: BufWriter<File>, schema: &Schema) -> io::Result<Self> {
        let mut writer = csv::Writer::from_writer(file);
        let heads = schema.heads().iter().map(|head| head.name.as_bytes());
        writer.write_record(heads).map_err(io::Error::from)?;
        Ok(Self(writer))
    }

    pub(super) fn push(&mut self, cells: &[Cell]) -> io::Result<()> {
        let fields = cells.iter().map(field);
        self.0.write_record(fields).map_err(io::Error::from)
    }

    pub(super) fn finish(self) -> io::Result<()> {
        let buffered =
            self.0.into_inner().map_err(|error| io::Error::from(error.error().kind()))?;
        buffered.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
    }
}

/// Numbers in the fewest digits that read back to the same double; a whole
/// double keeps its `.0`, so that no reader takes the column for integers.
fn field(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => text.clone(),
        Cell::Real(number) => format!("{number:?}"),
        Cell::Whole(number) => number.to_string(),
    }
}
