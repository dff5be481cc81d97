//! One Parquet file: columns of a row type in, bytes out.
//!
//! Compressed with zstd, row groups of at most [`ROWS_IN_GROUP`] rows and [`CELLS_IN_GROUP`] cells,
//! so that memory does not grow with the file, however wide it is. Unit and meaning stand in each column's metadata.

use std::collections::HashMap;
use std::io::{self, Write};
use std::sync::Arc;

use arrow_array::{ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray};
use arrow_schema::{DataType, Field, Schema, SchemaRef};
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;

use halfshaft_record::schema::{Column, Kind, Row, cells};
use serde_json::{Map, Value};

use crate::about::About;

/// Rows of a row group: what a reader takes in at once.
pub(crate) const ROWS_IN_GROUP: usize = 128 * 1024;

/// Cells of a row group: 64 MB of numbers before they are compressed. Fewer would make the
/// groups of a wide file many, and each is described, column by column, at the file's end.
const CELLS_IN_GROUP: usize = 8 * 1024 * 1024;

/// Rows handed to the writer at once, and cells.
pub(crate) const ROWS_AT_ONCE: usize = 8 * 1024;
const CELLS_AT_ONCE: usize = 1024 * 1024;

/// Rows of so many columns to be handed to the writer at once.
pub(crate) fn rows_at_once(n_columns: usize) -> usize {
    (CELLS_AT_ONCE / n_columns.max(1)).clamp(1, ROWS_AT_ONCE)
}

/// Why a table could not be written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The file could not be written to.
    #[error(transparent)]
    Write(io::Error),
    /// The form itself refuses the values.
    #[error("the table could not be encoded: {0}")]
    Encode(String),
}

impl From<ParquetError> for Error {
    fn from(error: ParquetError) -> Error {
        match error {
            ParquetError::External(cause) => match cause.downcast::<io::Error>() {
                Ok(cause) => Error::Write(*cause),
                Err(cause) => Error::Encode(cause.to_string()),
            },
            other => Error::Encode(other.to_string()),
        }
    }
}

fn field_of(column: &Column) -> Field {
    let kind = match column.kind {
        Kind::Text => DataType::Utf8,
        Kind::Number => DataType::Float64,
        Kind::Whole => DataType::Int64,
        Kind::Truth => DataType::Boolean,
    };
    field(
        &column.name,
        kind,
        column.may_be_null,
        &column.unit,
        &column.meaning,
    )
}

fn values(column: &Column, rows: &[Map<String, Value>]) -> ArrayRef {
    let cells = rows.iter().map(|row| row.get(&column.field));
    match column.kind {
        Kind::Text => Arc::new(cells.map(|cell| cell?.as_str()).collect::<StringArray>()),
        Kind::Number => Arc::new(cells.map(|cell| cell?.as_f64()).collect::<Float64Array>()),
        Kind::Whole => Arc::new(cells.map(|cell| cell?.as_i64()).collect::<Int64Array>()),
        Kind::Truth => Arc::new(cells.map(|cell| cell?.as_bool()).collect::<BooleanArray>()),
    }
}

/// Writes a whole table of rows.
pub(crate) fn write<R: Row, W: Write + Send>(
    out: W,
    form: &str,
    columns: &[Column],
    mut rows: impl Iterator<Item = R>,
    about: &About,
    more: &[(&str, String)],
) -> Result<(), Error> {
    let mut table = Table::start(out, columns.iter().map(field_of).collect())?;
    loop {
        let rows: Vec<_> = rows
            .by_ref()
            .take(ROWS_AT_ONCE)
            .map(|row| cells(&row))
            .collect();
        if rows.is_empty() {
            return table.finish(form, about, more);
        }
        table.write(columns.iter().map(|column| values(column, &rows)).collect())?;
    }
}

/// A column with its unit and meaning.
pub(crate) fn field(
    name: &str,
    kind: DataType,
    is_nullable: bool,
    unit: &str,
    meaning: &str,
) -> Field {
    let notes =
        [("unit", unit), ("meaning", meaning)].map(|(key, text)| (key.to_owned(), text.to_owned()));
    Field::new(name, kind, is_nullable).with_metadata(HashMap::from(notes))
}

/// A Parquet file being written.
pub(crate) struct Table<W: Write + Send> {
    schema: SchemaRef,
    writer: ArrowWriter<W>,
}

impl<W: Write + Send> Table<W> {
    /// Starts a file of those columns.
    pub(crate) fn start(out: W, fields: Vec<Field>) -> Result<Table<W>, Error> {
        let n_rows = (CELLS_IN_GROUP / fields.len().max(1)).clamp(1, ROWS_IN_GROUP);
        let mut properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_max_row_group_row_count(Some(n_rows));
        for field in &fields {
            // Times hardly repeat, and their steps are small: steps are what is stored.
            if field.name().ends_with("_ns") {
                let path = ColumnPath::from(field.name().as_str());
                properties = properties
                    .set_column_dictionary_enabled(path.clone(), false)
                    .set_column_encoding(path, Encoding::DELTA_BINARY_PACKED);
            }
        }
        let schema = Arc::new(Schema::new(fields));
        let writer = ArrowWriter::try_new(out, schema.clone(), Some(properties.build()))?;
        Ok(Table { schema, writer })
    }

    /// Adds rows, given as columns in the order of the fields.
    pub(crate) fn write(&mut self, columns: Vec<ArrayRef>) -> Result<(), Error> {
        let batch = RecordBatch::try_new(self.schema.clone(), columns)
            .map_err(|error| Error::Encode(error.to_string()))?;
        Ok(self.writer.write(&batch)?)
    }

    /// Writes what is left and the metadata. Only now is the file readable.
    pub(crate) fn finish(
        self,
        form: &str,
        about: &About,
        more: &[(&str, String)],
    ) -> Result<(), Error> {
        let more = more
            .iter()
            .map(|(key, value)| (format!("halfshaft.{key}"), value.clone()));
        let pairs = about.pairs(form).into_iter().chain(more);
        let notes = pairs.map(|(key, value)| KeyValue::new(key, value));
        self.finish_with(notes)
    }

    /// The same with the metadata of another file.
    pub(crate) fn finish_with(
        mut self,
        notes: impl IntoIterator<Item = KeyValue>,
    ) -> Result<(), Error> {
        // The writer adds the form of the columns itself.
        let notes = notes.into_iter().filter(|note| note.key != "ARROW:schema");
        notes.for_each(|note| self.writer.append_key_value_metadata(note));
        self.writer.finish()?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{about, open};
    use halfshaft_record::schema::columns;

    #[derive(serde::Serialize, schemars::JsonSchema)]
    struct Pair {
        /// Time.
        #[schemars(extend("unit" = "ns"))]
        t_ns: i64,
        /// Power.
        #[schemars(extend("unit" = "W"))]
        value: Option<f64>,
    }

    fn write_pairs(out: impl Write + Send, rows: Vec<Pair>) -> Result<(), Error> {
        let columns = columns::<Pair>();
        write(out, "pairs/1", &columns, rows.into_iter(), &about(), &[])
    }

    #[test]
    fn many_rows_come_back_equal_in_groups_of_bounded_size() {
        let n = ROWS_IN_GROUP as i64 + 5;
        let value = |time: i64| (time % 3 != 0).then(|| time as f64 / 7.0);
        let pair = |t_ns| Pair {
            t_ns,
            value: value(t_ns),
        };
        let mut bytes = Vec::new();
        write_pairs(&mut bytes, (0..n).map(pair).collect()).unwrap();
        let table = open(bytes);
        assert_eq!(table.n_rows_in_groups, [ROWS_IN_GROUP as i64, 5]);
        assert_eq!(table.whole("t_ns"), (0..n).map(Some).collect::<Vec<_>>());
        assert_eq!(
            table.numbers("value"),
            (0..n).map(value).collect::<Vec<_>>()
        );
        assert_eq!(table.note("value", "unit"), "W");
        assert_eq!(table.note("value", "meaning"), "Power.");
        assert_eq!(table.key("halfshaft.schema"), "pairs/1");
    }

    #[test]
    fn what_is_not_finite_is_null() {
        let rows = [f64::NAN, f64::INFINITY, 1.0].map(|value| Pair {
            t_ns: 0,
            value: Some(value),
        });
        let mut bytes = Vec::new();
        write_pairs(&mut bytes, rows.into()).unwrap();
        assert_eq!(open(bytes).numbers("value"), [None, None, Some(1.0)]);
    }

    #[test]
    fn an_output_that_is_full_is_told_as_such() {
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let row = Pair {
            t_ns: 0,
            value: None,
        };
        let outcome = write_pairs(Full, vec![row]);
        let Err(Error::Write(cause)) = outcome else {
            panic!("{:?}", outcome.err());
        };
        assert_eq!(cause.kind(), io::ErrorKind::StorageFull);
    }
}
