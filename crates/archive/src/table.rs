//! One Parquet file: columns of a row type in, bytes out.
//!
//! Compressed with zstd, row groups of at most [`ROWS_IN_GROUP`] rows, so that memory does
//! not grow with the file. Unit and meaning stand in each column's metadata.

use std::collections::HashMap;
use std::io::{self, Write};
use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int64Array, StringArray};
use arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use arrow::record_batch::RecordBatch;
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;

use crate::about::About;

/// Rows of a row group: what a reader takes in at once.
pub(crate) const ROWS_IN_GROUP: usize = 128 * 1024;

/// Rows handed to the writer at once.
pub(crate) const ROWS_AT_ONCE: usize = 8 * 1024;

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

/// How one cell of a row is read.
pub(crate) enum Cell<T> {
    Text(fn(&T) -> &str),
    TextOrNull(fn(&T) -> Option<&str>),
    WordsOrNull(fn(&T) -> Option<String>),
    Number(fn(&T) -> Option<f64>),
    Whole(fn(&T) -> i64),
    WholeOrNull(fn(&T) -> Option<i64>),
    Truth(fn(&T) -> bool),
}

/// One column of a table of rows.
pub(crate) struct Column<T> {
    pub(crate) name: &'static str,
    pub(crate) unit: &'static str,
    pub(crate) meaning: &'static str,
    pub(crate) cell: Cell<T>,
}

/// One column, in the order its fields are read.
pub(crate) const fn column<T>(
    name: &'static str,
    unit: &'static str,
    meaning: &'static str,
    cell: Cell<T>,
) -> Column<T> {
    Column {
        name,
        unit,
        meaning,
        cell,
    }
}

impl<T> Column<T> {
    fn field(&self) -> Field {
        let (kind, is_nullable) = match self.cell {
            Cell::Text(_) => (DataType::Utf8, false),
            Cell::TextOrNull(_) | Cell::WordsOrNull(_) => (DataType::Utf8, true),
            Cell::Number(_) => (DataType::Float64, true),
            Cell::Whole(_) => (DataType::Int64, false),
            Cell::WholeOrNull(_) => (DataType::Int64, true),
            Cell::Truth(_) => (DataType::Boolean, false),
        };
        field(self.name, kind, is_nullable, self.unit, self.meaning)
    }

    fn values(&self, rows: &[T]) -> ArrayRef {
        match self.cell {
            Cell::Text(text) => Arc::new(StringArray::from_iter_values(rows.iter().map(text))),
            Cell::TextOrNull(text) => Arc::new(rows.iter().map(text).collect::<StringArray>()),
            Cell::WordsOrNull(words) => Arc::new(rows.iter().map(words).collect::<StringArray>()),
            Cell::Number(number) => {
                let known = |row| number(row).filter(|number| number.is_finite());
                Arc::new(rows.iter().map(known).collect::<Float64Array>())
            }
            Cell::Whole(whole) => Arc::new(Int64Array::from_iter_values(rows.iter().map(whole))),
            Cell::WholeOrNull(whole) => Arc::new(rows.iter().map(whole).collect::<Int64Array>()),
            Cell::Truth(truth) => Arc::new(
                rows.iter()
                    .map(|row| Some(truth(row)))
                    .collect::<BooleanArray>(),
            ),
        }
    }
}

/// Writes a whole table of rows.
pub(crate) fn write<T, W: Write + Send>(
    out: W,
    form: &str,
    columns: &[Column<T>],
    rows: &[T],
    about: &About,
    more: &[(&str, String)],
) -> Result<(), Error> {
    let mut table = Table::start(out, columns.iter().map(Column::field).collect())?;
    for rows in rows.chunks(ROWS_AT_ONCE) {
        table.write(columns.iter().map(|column| column.values(rows)).collect())?;
    }
    table.finish(form, about, more)
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
        let mut properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_max_row_group_row_count(Some(ROWS_IN_GROUP));
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

    struct Pair(i64, Option<f64>);

    const PAIRS: &[Column<Pair>] = &[
        Column {
            name: "t_ns",
            unit: "ns",
            meaning: "Time.",
            cell: Cell::Whole(|pair| pair.0),
        },
        Column {
            name: "value",
            unit: "W",
            meaning: "Power.",
            cell: Cell::Number(|pair| pair.1),
        },
    ];

    #[test]
    fn many_rows_come_back_equal_in_groups_of_bounded_size() {
        let n = ROWS_IN_GROUP as i64 + 5;
        let value = |time: i64| (time % 3 != 0).then(|| time as f64 / 7.0);
        let rows: Vec<Pair> = (0..n).map(|time| Pair(time, value(time))).collect();
        let mut bytes = Vec::new();
        write(&mut bytes, "pairs/1", PAIRS, &rows, &about(), &[]).unwrap();
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
        let rows = [f64::NAN, f64::INFINITY, 1.0].map(|value| Pair(0, Some(value)));
        let mut bytes = Vec::new();
        write(&mut bytes, "pairs/1", PAIRS, &rows, &about(), &[]).unwrap();
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
        let rows = [Pair(0, None)];
        let outcome = write(Full, "pairs/1", PAIRS, &rows, &about(), &[]);
        let Err(Error::Write(cause)) = outcome else {
            panic!("{:?}", outcome.err());
        };
        assert_eq!(cause.kind(), io::ErrorKind::StorageFull);
    }
}
