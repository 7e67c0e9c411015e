//! A Parquet file as columns of the texts that CSV would hold.

use std::fs::File;
use std::path::Path;

use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::Field;

/// Name and cells of every column.
pub(crate) fn read(path: &Path) -> Vec<(String, Vec<String>)> {
    let file = File::open(path).expect("the table is there");
    let reader = SerializedFileReader::new(file).expect("it is Parquet");
    let metadata = reader.metadata().file_metadata();
    assert_eq!(metadata.created_by(), Some("pilothole"));
    let schema = metadata.schema();
    let mut columns: Vec<(String, Vec<String>)> =
        schema.get_fields().iter().map(|f| (f.name().to_owned(), Vec::new())).collect();
    for row in reader.get_row_iter(None).expect("rows") {
        for (at, (name, field)) in row.expect("a row").get_column_iter().enumerate() {
            assert_eq!(*name, columns[at].0);
            columns[at].1.push(text(field));
        }
    }
    columns
}

fn text(field: &Field) -> String {
    match field {
        Field::Null => String::new(),
        Field::Str(text) => text.clone(),
        Field::Double(number) => format!("{number:?}"),
        Field::Long(number) => number.to_string(),
        other => panic!("a type that no column has: {other:?}"),
    }
}
