//! Takes derived channels out of a file of samples that is written already.
//!
//! Samples are written while the log is read, once; whether the torque of a drive is believed is
//! known when it has ended. Where it is not, what was made of it is taken out again: native
//! samples lose its rows, samples on a grid its values. Batch by batch, so memory stays flat;
//! most drives need none of it.

use std::fs::File;
use std::io::Write;
use std::sync::Arc;

use arrow_array::types::Int32Type;
use arrow_array::{
    Array, ArrayRef, BooleanArray, DictionaryArray, RecordBatch, StringArray, new_null_array,
};
use arrow_select::filter::filter_record_batch;
use halfshaft_health::trust::Gate;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::channels::DERIVED;
use crate::table::{Error, Table, rows_at_once};

/// Derived channels that rest on what is not believed.
pub fn withheld_channels(gate: &Gate) -> Vec<&'static str> {
    let withheld = DERIVED.iter().filter(|channel| gate.withholds(channel.on));
    withheld.map(|channel| channel.name).collect()
}

/// Copies a file of samples without those channels.
pub fn copy_without<W: Write + Send>(file: File, out: W, channels: &[&str]) -> Result<(), Error> {
    let reader = ParquetRecordBatchReaderBuilder::try_new(file)?;
    let n_rows = rows_at_once(reader.schema().fields().len());
    let reader = reader.with_batch_size(n_rows);
    let notes = reader.metadata().file_metadata().key_value_metadata();
    let notes = notes.cloned().unwrap_or_default();
    let fields = reader.schema().fields().iter();
    let mut table = Table::start(out, fields.map(|field| field.as_ref().clone()).collect())?;
    for batch in reader.build()? {
        let batch = batch.map_err(encode)?;
        let kept = match batch.column_by_name("channel") {
            Some(names) => without_rows(&batch, names, channels)?,
            None => without_values(&batch, channels),
        };
        if kept.iter().any(|column| !column.is_empty()) {
            table.write(kept)?;
        }
    }
    table.finish_with(notes)
}

/// A batch of native samples without the rows of some channels.
fn without_rows(
    batch: &RecordBatch,
    names: &ArrayRef,
    channels: &[&str],
) -> Result<Vec<ArrayRef>, Error> {
    let names = names
        .as_any()
        .downcast_ref::<DictionaryArray<Int32Type>>()
        .and_then(|names| names.downcast_dict::<StringArray>())
        .ok_or_else(|| Error::Encode("the channels of the samples are no names".to_owned()))?;
    let stays = |name: Option<&str>| name.is_none_or(|name| !channels.contains(&name));
    let mask: BooleanArray = names.into_iter().map(|name| Some(stays(name))).collect();
    let kept = filter_record_batch(batch, &mask).map_err(encode)?;
    Ok(kept.columns().to_vec())
}

/// A batch on a grid without the values of some channels.
fn without_values(batch: &RecordBatch, channels: &[&str]) -> Vec<ArrayRef> {
    let schema = batch.schema();
    let fields = schema.fields().iter().zip(batch.columns());
    fields
        .map(
            |(field, column)| match channels.contains(&field.name().as_str()) {
                true => new_null_array(column.data_type(), column.len()),
                false => Arc::clone(column),
            },
        )
        .collect()
}

fn encode(error: arrow_schema::ArrowError) -> Error {
    Error::Encode(error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples::Rate;
    use crate::testing::{Drive, block, open};
    use std::io::Seek;

    fn written(rate: Option<Rate>) -> Vec<u8> {
        let mut samples = Vec::new();
        for index in 0..20 {
            let time = f64::from(index) * 0.1;
            samples.push((0, time, Some(50.0)));
            samples.push((1, time, Some(51.0)));
        }
        Drive::new().bytes(&[block(&samples, &[], 2.0)], rate)
    }

    #[test]
    fn rows_of_a_native_file_and_values_on_a_grid_go_and_the_rest_stays() {
        for rate in [None, Some(Rate::new(10.0).expect("it is a rate"))] {
            let bytes = written(rate);
            let mut file = tempfile::tempfile().unwrap();
            file.write_all(&bytes).unwrap();
            file.rewind().unwrap();
            let mut out = Vec::new();
            copy_without(file, &mut out, &["pack.torque", "pack.heat_rate"]).unwrap();
            let (before, after) = (open(bytes), open(out));
            assert_eq!(before.names(), after.names());
            assert_eq!(
                before.key("halfshaft.schema"),
                after.key("halfshaft.schema")
            );
            if rate.is_some() {
                assert!(before.numbers("pack.torque").iter().any(Option::is_some));
                assert!(after.numbers("pack.torque").iter().all(Option::is_none));
                assert_eq!(before.numbers("pack.slip"), after.numbers("pack.slip"));
                assert_eq!(
                    before.note("pack.slip", "unit"),
                    after.note("pack.slip", "unit")
                );
                continue;
            }
            let n_of = |channels: Vec<Option<String>>, name: &str| {
                channels
                    .iter()
                    .filter(|channel| channel.as_deref() == Some(name))
                    .count()
            };
            assert!(n_of(before.texts("channel"), "pack.torque") > 0);
            assert_eq!(n_of(after.texts("channel"), "pack.torque"), 0);
            let slips = [&before, &after].map(|table| n_of(table.texts("channel"), "pack.slip"));
            assert_eq!(slips[0], slips[1]);
        }
    }
}
