//! What the tests of this crate share: a small drive, and reading a written table back.

use std::io::{Seek, Write};

use arrow_array::cast::AsArray;
use arrow_array::types::{Float64Type, Int32Type, Int64Type};
use arrow_array::{RecordBatch, StringArray};
use arrow_select::concat::concat_batches;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use halfshaft_health::limits::Limits;
use halfshaft_health::{Derived, Driveline};
use halfshaft_model::{Block, ChannelSpec, Layout, Time, Toleranced, Vehicle};

use crate::about::About;
use crate::channels::Ground;
use crate::samples::{Rate, Samples};

/// Facts of an invented run.
pub(crate) fn about() -> About {
    About {
        program_version: "1.2.3".to_owned(),
        map_title: "a map".to_owned(),
        map_fingerprint: "0123".to_owned(),
        vehicle: "a car".to_owned(),
        inputs: vec!["aa".to_owned(), "bb".to_owned()],
        clock_kind: "unix".to_owned(),
        origin_ns: 1_700_000_000_000_000_001,
        settings_changed: vec!["oil.warn_c=120.0".to_owned()],
        baseline: vec!["rise_time_s=0.12 of 2 drives".to_owned()],
    }
}

/// A table read back.
pub(crate) struct Opened {
    pub(crate) n_rows_in_groups: Vec<i64>,
    rows: RecordBatch,
    keys: Vec<(String, String)>,
}

/// Reads a whole table.
pub(crate) fn open(bytes: Vec<u8>) -> Opened {
    let mut file = tempfile::tempfile().expect("a temporary file can be made");
    file.write_all(&bytes).expect("it can be written to");
    file.rewind().expect("it can be read again");
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).expect("the file is readable");
    let about = builder.metadata().file_metadata();
    let keys = about.key_value_metadata().expect("there is metadata");
    let keys = keys
        .iter()
        .map(|pair| (pair.key.clone(), pair.value.clone().unwrap_or_default()))
        .collect();
    let groups = builder.metadata().row_groups();
    let n_rows_in_groups = groups.iter().map(|group| group.num_rows()).collect();
    let schema = builder.schema().clone();
    let reader = builder.build().expect("the file is readable");
    let batches: Vec<RecordBatch> = reader
        .map(|batch| batch.expect("the file is readable"))
        .collect();
    Opened {
        rows: concat_batches(&schema, &batches).expect("batches of one file fit together"),
        n_rows_in_groups,
        keys,
    }
}

impl Opened {
    pub(crate) fn names(&self) -> Vec<String> {
        let schema = self.rows.schema();
        schema
            .fields()
            .iter()
            .map(|field| field.name().clone())
            .collect()
    }

    /// A text of a column's metadata.
    pub(crate) fn note(&self, column: &str, key: &str) -> String {
        let schema = self.rows.schema();
        let field = schema.field_with_name(column).expect("the column is there");
        field.metadata().get(key).cloned().unwrap_or_default()
    }

    /// A text of the file's metadata.
    pub(crate) fn key(&self, key: &str) -> &str {
        let found = self.keys.iter().find(|(known, _)| known == key);
        found.map_or("", |(_, value)| value)
    }

    pub(crate) fn whole(&self, column: &str) -> Vec<Option<i64>> {
        let column = self.rows.column_by_name(column).expect("it is there");
        column.as_primitive::<Int64Type>().iter().collect()
    }

    pub(crate) fn numbers(&self, column: &str) -> Vec<Option<f64>> {
        let column = self.rows.column_by_name(column).expect("it is there");
        column.as_primitive::<Float64Type>().iter().collect()
    }

    pub(crate) fn truths(&self, column: &str) -> Vec<Option<bool>> {
        let column = self.rows.column_by_name(column).expect("it is there");
        column.as_boolean().iter().collect()
    }

    pub(crate) fn texts(&self, column: &str) -> Vec<Option<String>> {
        let column = self.rows.column_by_name(column).expect("it is there");
        if let Some(texts) = column.as_string_opt::<i32>() {
            return texts.iter().map(|text| text.map(str::to_owned)).collect();
        }
        let names = column.as_dictionary::<Int32Type>();
        let names = names.downcast_dict::<StringArray>().expect("it is text");
        names
            .into_iter()
            .map(|text| text.map(str::to_owned))
            .collect()
    }
}

/// Both rear wheels and a command of an invented car, samples given in seconds.
pub(crate) struct Drive {
    pub(crate) channels: Vec<ChannelSpec>,
    driveline: Driveline,
}

impl Drive {
    pub(crate) fn new() -> Drive {
        Drive::of(&Vehicle {
            layout: Some(Layout::CaseToOneSide),
            preload_nm: Some(Toleranced::exact(100.0)),
            ..Vehicle::default()
        })
    }

    pub(crate) fn of(vehicle: &Vehicle) -> Drive {
        let names = [
            "wheel.rear.left",
            "wheel.rear.right",
            "clutch.command",
            "own.level",
        ];
        let mut channels: Vec<ChannelSpec> =
            names.iter().map(|name| ChannelSpec::new(name)).collect();
        for channel in &mut channels {
            channel.period_s = Some(0.1);
        }
        channels[2].full_scale = Some(1.0);
        Drive {
            driveline: Driveline::new(vehicle, &channels),
            channels,
        }
    }

    pub(crate) fn ground(&self) -> Ground {
        Ground {
            basis: self.driveline.basis().clone(),
            slip: Limits::default().slip,
        }
    }

    /// Writes its blocks and reads them back.
    pub(crate) fn write(self, blocks: &[Block], rate: Option<Rate>) -> Opened {
        open(self.bytes(blocks, rate))
    }

    /// The bytes of its blocks.
    pub(crate) fn bytes(mut self, blocks: &[Block], rate: Option<Rate>) -> Vec<u8> {
        let ground = self.ground();
        let mut bytes = Vec::new();
        let mut samples = Samples::start(&mut bytes, &self.channels, &ground, rate, false)
            .expect("memory does not fail");
        let mut derived = Derived::default();
        for (index, block) in blocks.iter().enumerate() {
            self.driveline.push(block, &mut derived);
            if index + 1 == blocks.len() {
                self.driveline.finish(&mut derived);
            }
            samples
                .push(block, &derived.rows)
                .expect("memory does not fail");
        }
        samples.finish(&about()).expect("memory does not fail");
        bytes
    }
}

/// A block of samples (channel, time in s, value) and cuts in s.
pub(crate) fn block(samples: &[(usize, f64, Option<f64>)], cuts: &[f64], until: f64) -> Block {
    let mut block = Block::new(4);
    for &(channel, time, value) in samples {
        block.columns[channel].push(Time::from_seconds(time), value);
    }
    block.cuts = cuts.iter().map(|&cut| Time::from_seconds(cut)).collect();
    block.until = Time::from_seconds(until);
    block
}
