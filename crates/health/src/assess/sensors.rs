//! The temperature sensors: which channel, which readings are jumps, and how each looks as a whole.
//!
//! In: blocks. Out: their readings for the parts, each marked when it is a jump.

use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, SampleOrCut, Time};

use crate::limits::Limits;
use crate::part::Reading;
use crate::sensor::SensorWatch;

/// A sensor, which the map need not have.
#[derive(Clone, Debug)]
pub(super) struct Sensor {
    /// Its channel.
    pub(super) channel: Option<usize>,
    /// How it looks as a whole.
    pub(super) watch: SensorWatch,
    /// Its readings in the latest block.
    pub(super) readings: Vec<Reading>,
}

/// All sensors.
#[derive(Clone, Debug)]
pub(super) struct Sensors {
    pub(super) oil: Sensor,
    pub(super) air: Sensor,
    pub(super) housing: Sensor,
}

impl Sensors {
    /// The sensors among the channels of a map.
    pub(super) fn new(channels: &[ChannelSpec], limits: &Limits) -> Sensors {
        let sensor = |name: &str| Sensor {
            channel: channels.iter().position(|channel| channel.name == name),
            watch: SensorWatch::new(limits),
            readings: Vec::new(),
        };
        Sensors {
            oil: sensor(name::OIL_TEMPERATURE),
            air: sensor(name::AMBIENT_TEMPERATURE),
            housing: sensor(name::HOUSING_TEMPERATURE),
        }
    }

    /// Reads a block. What counts as a jump begins anew at a cut of the clock for the oil only.
    pub(super) fn read(&mut self, block: &Block) {
        self.oil.read(block, &block.cuts);
        self.air.read(block, &[]);
        self.housing.read(block, &[]);
    }
}

impl Sensor {
    fn read(&mut self, block: &Block, cuts: &[Time]) {
        let Some(channel) = self.channel else { return };
        self.readings.clear();
        let (watch, readings) = (&mut self.watch, &mut self.readings);
        block.columns[channel].walk(cuts, |next| match next {
            SampleOrCut::Cut(_) => watch.interrupt(),
            SampleOrCut::Sample(_, None) => {}
            SampleOrCut::Sample(time, Some(celsius)) => readings.push(Reading {
                time,
                celsius,
                is_believed: watch.takes(time, celsius),
            }),
        });
    }
}
