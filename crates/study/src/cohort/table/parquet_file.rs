//! Parquet: one optional column each but the keys, no engine in between.
//!
//! The bytes depend on the rows alone: a constant writer's name, row groups
//! of a fixed number of rows, no clock.

use std::fs::File;
use std::io::{self, BufWriter};
use std::sync::Arc;

use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::Type;

use super::cell::Cell;
use super::column::Kind;
use super::schema::{Head, Schema};

/// Rows of a group: the buffer of the widest table stays near 15 MB, and a
/// group large enough for dictionaries to pay.
const GROUP: usize = 16_384;

/// What every file names as its writer.
const CREATED_BY: &str = "pilothole";

/// A Parquet file in the making.
pub(super) struct ParquetFile {
    writer: SerializedFileWriter<BufWriter<File>>,
    columns: Vec<Column>,
    rows: usize,
}

struct Column {
    is_key: bool,
    present: Vec<i16>,
    values: Values,
}

enum Values {
    Text(Vec<ByteArray>),
    Real(Vec<f64>),
    Whole(Vec<i64>),
}

impl ParquetFile {
    pub(super) fn begin(file: BufWriter<File>, name: &str, schema: &Schema) -> io::Result<Self> {
        let fields: Result<Vec<_>, _> = schema.heads().iter().map(field).collect();
        let root = Type::group_type_builder(name)
            .with_fields(fields.map_err(io_error)?)
            .build()
            .map_err(io_error)?;
        let properties = WriterProperties::builder()
            .set_created_by(CREATED_BY.to_owned())
            .set_compression(Compression::SNAPPY)
            .build();
        let writer = SerializedFileWriter::new(file, Arc::new(root), Arc::new(properties))
            .map_err(io_error)?;
        let columns = schema.heads().iter().map(Column::new).collect();
        Ok(Self { writer, columns, rows: 0 })
    }

    pub(super) fn push(&mut self, cells: &[Cell]) -> io::Result<()> {
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            column.push(cell)?;
        }
        self.rows += 1;
        if self.rows == GROUP { self.flush().map_err(io_error) } else { Ok(()) }
    }

    pub(super) fn finish(mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.flush().map_err(io_error)?;
        }
        let buffered = self.writer.into_inner().map_err(io_error)?;
        buffered.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
    }

    fn flush(&mut self) -> Result<(), ParquetError> {
        let mut group = self.writer.next_row_group()?;
        for column in &mut self.columns {
            if let Some(mut writer) = group.next_column()? {
                column.write(&mut writer)?;
                writer.close()?;
            }
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }
}

impl Column {
    fn new(head: &Head) -> Self {
        let values = match head.kind {
            Kind::Text => Values::Text(Vec::with_capacity(GROUP)),
            Kind::Real => Values::Real(Vec::with_capacity(GROUP)),
            Kind::Whole => Values::Whole(Vec::with_capacity(GROUP)),
        };
        Self { is_key: head.is_key, present: Vec::with_capacity(GROUP), values }
    }

    fn push(&mut self, cell: &Cell) -> io::Result<()> {
        match (&mut self.values, cell) {
            (_, Cell::Empty) if !self.is_key => {
                self.present.push(0);
                return Ok(());
            }
            (Values::Text(values), Cell::Text(text)) => values.push(text.as_str().into()),
            (Values::Real(values), Cell::Real(number)) => values.push(*number),
            (Values::Whole(values), Cell::Whole(number)) => values.push(*number),
            _ => return Err(io::ErrorKind::InvalidData.into()),
        }
        self.present.push(1);
        Ok(())
    }

    fn write(&mut self, writer: &mut SerializedColumnWriter<'_>) -> Result<(), ParquetError> {
        let levels = (!self.is_key).then_some(self.present.as_slice());
        match &mut self.values {
            Values::Text(values) => {
                writer.typed::<ByteArrayType>().write_batch(values, levels, None)?;
                values.clear();
            }
            Values::Real(values) => {
                writer.typed::<DoubleType>().write_batch(values, levels, None)?;
                values.clear();
            }
            Values::Whole(values) => {
                writer.typed::<Int64Type>().write_batch(values, levels, None)?;
                values.clear();
            }
        }
        self.present.clear();
        Ok(())
    }
}

fn field(head: &Head) -> Result<Arc<Type>, ParquetError> {
    let (physical, logical) = match head.kind {
        Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Kind::Real => (Physical::DOUBLE, None),
        Kind::Whole => (Physical::INT64, None),
    };
    let repetition = if head.is_key { Repetition::REQUIRED } else { Repetition::OPTIONAL };
    Type::primitive_type_builder(&head.name, physical)
        .with_repetition(repetition)
        .with_logical_type(logical)
        .build()
        .map(Arc::new)
}

/// The file system's own error where there is one beneath.
fn io_error(error: ParquetError) -> io::Error {
    match error {
        ParquetError::External(inner) => match inner.downcast::<io::Error>() {
            Ok(error) => *error,
            Err(other) => io::Error::other(other),
        },
        other => io::Error::other(other),
    }
}
