//! Samples at their own times: one sample a row, whatever the channel.
//!
//! Rows come block by block: within one channel the times rise, between channels they do
//! not. A measured channel has a null wherever the car or the map says that a value is
//! missing; a derived one has one null where it ceases to be known.

use std::io::Write;
use std::sync::Arc;

use arrow_array::types::Int32Type;
use arrow_array::{ArrayRef, DictionaryArray, Float64Array, Int32Array, Int64Array, StringArray};
use arrow_schema::DataType;
use halfshaft_health::Row;
use halfshaft_model::personal::PlaceTrim;
use halfshaft_model::{Block, ChannelSpec, Time};

use crate::about::About;
use crate::channels::{DERIVED, Ground, N_DERIVED, behaviour_word, meaning};
use crate::samples::NATIVE_FORM;
use crate::table::{Error, ROWS_AT_ONCE, Table, field};

pub(super) struct Native<W: Write + Send> {
    table: Table<W>,
    ground: Ground,
    trim: Option<PlaceTrim>,
    names: Arc<StringArray>,
    units: Arc<StringArray>,
    // Per channel: its place among the units.
    unit_of: Vec<i32>,
    // What each channel is, for the metadata.
    notes: Vec<(String, String)>,
    is_known: [bool; N_DERIVED],
    times: Vec<i64>,
    channels: Vec<i32>,
    values: Vec<Option<f64>>,
}

impl<W: Write + Send> Native<W> {
    pub(super) fn start(
        out: W,
        channels: &[ChannelSpec],
        ground: &Ground,
        trim: Option<PlaceTrim>,
    ) -> Result<Native<W>, Error> {
        let dictionary =
            || DataType::Dictionary(Box::new(DataType::Int32), Box::new(DataType::Utf8));
        let fields = vec![
            field(
                "time_ns",
                DataType::Int64,
                false,
                "ns",
                "Time since the first entry of the log.",
            ),
            field("channel", dictionary(), false, "", "Name of the channel."),
            field(
                "value",
                DataType::Float64,
                true,
                "",
                "Value in the unit beside it; null where the car or the map says that it is missing.",
            ),
            field("unit", dictionary(), false, "", "Unit of the value."),
        ];
        let measured = channels.iter().map(|channel| {
            let (name, unit) = (channel.name.as_str(), channel.si_unit());
            (name, unit, channel.behaviour, meaning(channel))
        });
        let derived = DERIVED.iter().map(|channel| {
            (
                channel.name,
                channel.unit,
                channel.behaviour,
                channel.meaning,
            )
        });
        let mut names = Vec::new();
        let mut units: Vec<&str> = Vec::new();
        let mut unit_of = Vec::new();
        let mut notes = Vec::new();
        for (name, unit, behaviour, meaning) in measured.chain(derived) {
            let place = units.iter().position(|known| *known == unit);
            unit_of.push(place.unwrap_or(units.len()) as i32);
            if place.is_none() {
                units.push(unit);
            }
            let between = behaviour_word(behaviour);
            notes.push((
                format!("channel.{name}"),
                format!("{unit}; {between}; {meaning}"),
            ));
            names.push(name);
        }
        Ok(Native {
            table: Table::start(out, fields)?,
            ground: ground.clone(),
            trim,
            names: Arc::new(StringArray::from(names)),
            units: Arc::new(StringArray::from(units)),
            unit_of,
            notes,
            is_known: [false; N_DERIVED],
            times: Vec::new(),
            channels: Vec::new(),
            values: Vec::new(),
        })
    }

    pub(super) fn push(&mut self, block: &Block, rows: &[Row]) -> Result<(), Error> {
        let is_position = |trim: &Option<PlaceTrim>, column| {
            trim.as_ref().is_some_and(|trim| trim.is_place(column))
        };
        for (channel, column) in block.columns.iter().enumerate() {
            if is_position(&self.trim, channel) {
                continue;
            }
            for (time, value) in column.iter() {
                self.add(time, channel, value)?;
            }
        }
        let mut told = Vec::new();
        if let Some(trim) = &mut self.trim {
            trim.push(block, &mut |channel, time, value| {
                told.push((time, channel, value));
            });
        }
        for (time, channel, value) in told {
            self.add(time, channel, value)?;
        }
        let first = block.columns.len();
        for (index, channel) in DERIVED.iter().enumerate() {
            for row in rows {
                let value = channel.value(row, &self.ground);
                if value.is_some() || self.is_known[index] {
                    self.add(row.time, first + index, value)?;
                }
                self.is_known[index] = value.is_some();
            }
        }
        Ok(())
    }

    fn add(&mut self, time: Time, channel: usize, value: Option<f64>) -> Result<(), Error> {
        self.times.push(time.0);
        self.channels.push(channel as i32);
        self.values.push(value);
        if self.times.len() >= ROWS_AT_ONCE {
            self.write()?;
        }
        Ok(())
    }

    fn write(&mut self) -> Result<(), Error> {
        let units = self
            .channels
            .iter()
            .map(|&channel| self.unit_of[channel as usize]);
        let units = Int32Array::from_iter_values(units);
        let texts = |keys: Int32Array, texts: &Arc<StringArray>| -> Result<ArrayRef, Error> {
            let column = DictionaryArray::<Int32Type>::try_new(keys, texts.clone());
            Ok(Arc::new(
                column.map_err(|error| Error::Encode(error.to_string()))?,
            ))
        };
        let columns = vec![
            Arc::new(Int64Array::from(std::mem::take(&mut self.times))) as ArrayRef,
            texts(
                Int32Array::from(std::mem::take(&mut self.channels)),
                &self.names,
            )?,
            Arc::new(Float64Array::from(std::mem::take(&mut self.values))),
            texts(units, &self.units)?,
        ];
        self.table.write(columns)
    }

    pub(super) fn finish(mut self, about: &About) -> Result<(), Error> {
        if !self.times.is_empty() {
            self.write()?;
        }
        let notes: Vec<(&str, String)> = self
            .notes
            .iter()
            .map(|(key, text)| (key.as_str(), text.clone()))
            .collect();
        self.table.finish(NATIVE_FORM, about, &notes)
    }
}

#[cfg(test)]
mod tests {
    use crate::testing::{Drive, block};
    use halfshaft_model::{Toleranced, Vehicle};

    /// Wheels 1 rad/s apart for two seconds, then one of them silent, in two blocks.
    #[test]
    fn every_sample_comes_back_and_nothing_is_made_up() {
        let mut samples = Vec::new();
        for index in 0..20 {
            let time = f64::from(index) * 0.1;
            samples.push((0, time, Some(50.0)));
            samples.push((1, time, Some(51.0)));
        }
        samples.push((3, 0.05, Some(7.5)));
        samples.push((3, 0.15, None));
        let first = block(&samples, &[], 1.95);
        let second = block(&[(3, 2.0, Some(8.5)), (2, 2.0, Some(0.0))], &[], 9.0);
        let drive = Drive::new();
        let table = drive.write(&[first, second], None);
        assert_eq!(table.names(), ["time_ns", "channel", "value", "unit"]);
        let of = |name: &str| -> Vec<(i64, Option<f64>, String)> {
            let (times, values) = (table.whole("time_ns"), table.numbers("value"));
            let (channels, units) = (table.texts("channel"), table.texts("unit"));
            (0..times.len())
                .filter(|&row| channels[row].as_deref() == Some(name))
                .map(|row| {
                    let unit = units[row].clone().expect("a unit is never null");
                    (times[row].expect("a time is never null"), values[row], unit)
                })
                .collect()
        };
        let level = [
            (50_000_000, Some(7.5), "1".to_owned()),
            (150_000_000, None, "1".to_owned()),
            (2_000_000_000, Some(8.5), "1".to_owned()),
        ];
        assert_eq!(of("own.level"), level);
        let difference = of("axle.speed_difference");
        assert_eq!(difference.len(), 20);
        for (index, sample) in (0_i64..).zip(&difference) {
            assert_eq!(
                sample,
                &(index * 100_000_000, Some(1.0), "rad/s".to_owned())
            );
        }
        // A pack between case and one side sees half of it: derived.
        assert!(of("pack.slip").iter().all(|sample| sample.1 == Some(0.5)));
        // A preload of 100 N·m at 0.5 rad/s: 50 W. Without a gap ahead or behind it is known.
        assert_eq!(of("pack.torque")[10].1, Some(100.0));
        let heat = of("pack.heat_rate")[10].1.expect("it is known");
        assert!((heat - 50.0).abs() < 1e-9, "{heat}");
        // There is no yaw rate, so there is not one row of what needs it.
        assert!(of("axle.openness").is_empty());
        assert_eq!(table.key("halfshaft.schema"), "halfshaft-samples/1");
        assert_eq!(
            table.key("halfshaft.clock.origin_ns"),
            "1700000000000000001"
        );
        let note = table.key("halfshaft.channel.wheel.rear.left");
        assert!(
            note.starts_with("rad/s; interpolated; Speed of the rear left"),
            "{note}"
        );
    }

    #[test]
    fn what_the_map_does_not_allow_is_not_derived() {
        // Where the clutch sits is not stated: a difference is one, and slip is unknown.
        let mut samples = Vec::new();
        for index in 0..20 {
            let time = f64::from(index) * 0.1;
            samples.push((0, time, Some(50.0)));
            samples.push((1, time, Some(51.0)));
        }
        let vehicle = Vehicle {
            preload_nm: Some(Toleranced::exact(100.0)),
            ..Vehicle::default()
        };
        let table = Drive::of(&vehicle).write(&[block(&samples, &[], 2.0)], None);
        let channels = table.texts("channel");
        let has = |name: &str| {
            channels
                .iter()
                .any(|channel| channel.as_deref() == Some(name))
        };
        assert!(has("axle.speed_difference") && has("pack.torque"));
        assert!(!has("pack.slip") && !has("pack.heat_rate"));
    }

    #[test]
    fn a_derived_channel_has_one_null_where_it_ends() {
        // The command is 0.5 and then declared missing.
        let mut samples = Vec::new();
        for index in 0..20 {
            let time = f64::from(index) * 0.1;
            samples.push((0, time, Some(50.0)));
            samples.push((1, time, Some(51.0)));
            samples.push((2, time, (index < 10).then_some(0.5)));
        }
        let table = Drive::new().write(&[block(&samples, &[], 2.0)], None);
        let (channels, values) = (table.texts("channel"), table.numbers("value"));
        let share: Vec<Option<f64>> = (0..values.len())
            .filter(|&row| channels[row].as_deref() == Some("clutch.command.share"))
            .map(|row| values[row])
            .collect();
        let wanted: Vec<_> = [Some(0.5); 10].into_iter().chain([None]).collect();
        assert_eq!(share, wanted);
    }
}
