//! Which channels the path is read from, beside the rows.

use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Fixes};

use super::PathWatch;
use crate::limits::Limits;
use crate::part::{Came, Part, Passage};

impl PathWatch {
    /// For the channels of a map, by limits of one's own.
    pub fn of_channels(channels: &[ChannelSpec], limits: &Limits) -> PathWatch {
        let place = |name| channels.iter().position(|channel| channel.name == name);
        PathWatch {
            marker_channel: place(name::LAP_MARKER),
            pedal_channel: place(name::THROTTLE),
            fixes: Fixes::new(channels),
            limits: *limits,
            ..PathWatch::default()
        }
    }
}

impl Part for PathWatch {
    fn block(&mut self, came: &Came) {
        for reading in came.oil_believed() {
            self.note_oil(reading.time, reading.celsius);
        }
        if let Some(marker) = self.marker_channel {
            for (time, value) in came.block.columns[marker].iter() {
                if let Some(value) = value {
                    self.note_marker(time, value);
                }
            }
        }
        if let Some(pedal) = self.pedal_channel {
            for (time, share) in came.block.columns[pedal].iter() {
                if let Some(share) = share {
                    self.note_pedal(time, share);
                }
            }
        }
        // Positions serve the start line only.
        if let (Some(fixes), Some(gate)) = (&mut self.fixes, &mut self.gate) {
            fixes.push(came.block, &mut |fix| gate.add(&fix));
        }
    }

    fn rows(&mut self, passage: &Passage) {
        passage.rows.iter().for_each(|row| self.add(row));
    }
}
