//! From entries to channels: what they say, and whether the map fits them.

use halfshaft_model::{Batch, Block, Notices, Time};
use halfshaft_signal_map::Map;
use halfshaft_signal_map::decode::{Coverage, Decoder};
use halfshaft_signal_map::survey::{Survey, SurveyReport};

/// Decodes a log and surveys how it fits the map.
#[derive(Clone, Debug)]
pub struct Front {
    decoder: Decoder,
    survey: Survey,
    until: Time,
}

impl Front {
    /// For a map; samples that no car can make are left out. Of a long log the survey looks at
    /// parts.
    pub fn new(map: &Map) -> Front {
        Front {
            decoder: Decoder::screening(map),
            survey: Survey::of_parts(map),
            until: Time(0),
        }
    }

    /// The same with every sample as the map reads it, those that no car can make among them.
    pub fn unscreened(map: &Map) -> Front {
        Front {
            decoder: Decoder::new(map),
            ..Front::new(map)
        }
    }

    /// Unscreened, and the survey looks at the whole log, however long it is.
    pub fn with_whole_survey(map: &Map) -> Front {
        Front {
            survey: Survey::new(map),
            ..Front::unscreened(map)
        }
    }

    /// Decodes a batch into `block`, which is cleared first.
    pub fn push(&mut self, batch: &Batch, block: &mut Block) {
        self.decoder.push(batch, block);
        self.survey.push(batch, block);
        self.until = block.until;
    }

    /// The log has ended: `block` is cleared, and reaches to the end.
    pub fn finish(&mut self, block: &mut Block) {
        self.decoder.finish(block);
        block.until = block.until.max(self.until);
        self.survey.push(&Batch::default(), block);
        self.survey.finish();
    }

    /// Damage of the frames.
    pub fn notices(&self) -> &Notices {
        self.decoder.notices()
    }

    /// Frames that went by and that the recorder did not get, and all that went by.
    pub fn lost(&self) -> (u64, u64) {
        self.decoder.lost()
    }

    /// What the decoder has seen so far.
    pub fn coverage(&self) -> Coverage {
        self.decoder.coverage()
    }

    /// How log and map have fitted each other so far.
    pub fn fit(&self) -> SurveyReport {
        self.survey.report(&self.decoder.coverage())
    }
}
