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
        let heads = schema.heads().iter().map(|head| plain(&head.name));
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

/// Text, with an apostrophe before what a spreadsheet would run as a formula;
/// numbers written as text run nothing.
fn plain(text: &str) -> String {
    const RUN: &str = "=+-@|%\u{ff1d}\u{ff0b}\u{ff0d}\u{ff20}";
    let runs = text.trim_start().chars().next().is_some_and(|first| RUN.contains(first));
    if runs && text.parse::<f64>().is_err() { format!("'{text}") } else { text.to_owned() }
}

/// Numbers in the fewest digits that read back to the same double; a whole
/// double keeps its `.0`, so that no reader takes the column for integers.
fn field(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => plain(text),
        Cell::Real(number) => format!("{number:?}"),
        Cell::Whole(number) => number.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_text_and_numbers_stay_numbers() {
        for (text, shown) in [
            ("=cmd|'/c calc'!A1", "'=cmd|'/c calc'!A1"),
            (" @sum", "' @sum"),
            ("-60", "-60"),
            ("+4.5e1", "+4.5e1"),
            ("north", "north"),
            ("000123", "000123"),
        ] {
            assert_eq!(plain(text), shown);
        }
    }
}
