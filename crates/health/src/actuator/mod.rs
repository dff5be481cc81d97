//! How quickly the clutch answered over the drive, and whose delay it was.
//!
//! In: blocks, and rows for the excess of the axle speed difference. Out: [`Actuator`], the
//! answers to the edges of the command pooled by direction, and the delays after the pedal.
//! `halfshaft_driveline::response` measures; here it is gathered and settled. It does not
//! judge: the findings do.

use halfshaft_driveline::Row;
use halfshaft_driveline::response::ladder::{Ladder, LadderWatch, Pedal};
use halfshaft_driveline::response::pool::{Pool, Quantity, pool, reasons};
use halfshaft_driveline::response::resolution::{Spread, spread};
use halfshaft_driveline::response::watch::NoWatch;
use halfshaft_driveline::response::{Direction, Response, ResponseWatch, Unusable};
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

/// The response counts as moved before the command when it has gone this share of the
/// command's way as that is half way; and command and response look exchanged when it does so in
/// this share of so many moves. Source: none, engineering guess: of a lag of first order
/// exchanged with its step nothing less than all is gone.
const GONE_FROM: f64 = 0.8;
/// See [`GONE_FROM`].
const MOST_LEAD: f64 = 0.8;
/// See [`GONE_FROM`].
const LEADS_FROM: usize = 5;

/// Gathers the answers while the drive goes by.
#[derive(Clone, Debug)]
pub struct ActuatorWatch {
    responses: Result<ResponseWatch, String>,
    ladders: Option<LadderWatch>,
    found: Vec<Response>,
    climbed: Vec<Ladder>,
    channels: Vec<String>,
}

/// Moves in which the response came before the command.
#[derive(Clone, Debug, PartialEq)]
pub struct Leading {
    /// How many.
    pub n_leading: usize,
    /// Of how many that tell.
    pub n: usize,
    /// When, with the share of the response's way gone at half of the command's.
    pub windows: Vec<(Time, f64)>,
}

/// Times of one direction.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// From the command to the first movement.
    pub dead_time: Pool,
    /// From 10 to 90 % of the way.
    pub rise_time: Pool,
    /// From a step of the command to 90 % of the way; of a release, to the last 10 %.
    pub transition_time: Pool,
    /// Edges of the command in this direction; of many only some are measured.
    pub n_edges: usize,
    /// Why edges tell nothing, with how many.
    pub reasons: Vec<(Unusable, usize)>,
}

/// Delays after one movement of the pedal.
#[derive(Clone, Debug, PartialEq)]
pub struct PedalDelay {
    /// Movements of the pedal.
    pub n_events: usize,
    /// Pedal to command: the controller's part.
    pub controller: Option<Spread>,
    /// Command to response: the mechanism's part.
    pub mechanism: Option<Spread>,
    /// Response to the peak of the excess slip: the vehicle's part.
    pub vehicle: Option<Spread>,
    /// Pedal to response: both of the first, of the movements that have both.
    pub whole: Option<Spread>,
    /// The same one by one, s, with the time of the pedal, in order of time.
    pub wholes: Vec<(Time, f64)>,
}

/// What the drive says of the actuator.
#[derive(Clone, Debug, PartialEq)]
pub struct Actuator {
    /// Channel that says what the mechanism did, of most answers.
    pub signal: Option<String>,
    /// Closing.
    pub engage: Timing,
    /// Letting go.
    pub release: Timing,
    /// After the throttle is pressed; `None` without throttle or command.
    pub throttle_on: Option<PedalDelay>,
    /// After the throttle is lifted.
    pub lift_off: Option<PedalDelay>,
    /// Every answer that was measured, in order of time.
    pub responses: Vec<Response>,
}

impl ActuatorWatch {
    /// Nothing seen yet.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> ActuatorWatch {
        ActuatorWatch {
            responses: ResponseWatch::new(vehicle, channels).map_err(no_watch),
            ladders: LadderWatch::new(vehicle, channels),
            found: Vec::new(),
            climbed: Vec::new(),
            channels: channels
                .iter()
                .map(|channel| channel.name.clone())
                .collect(),
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        if let Ok(watch) = &mut self.responses {
            watch.push(block);
            self.found.extend(watch.take_finished());
        }
        if let Some(ladders) = &mut self.ladders {
            ladders.push(block);
        }
    }

    /// Takes a row: what the axle does beyond the bend.
    pub fn note(&mut self, row: &Row) {
        if let Some(ladders) = &mut self.ladders {
            let excess = row
                .kinematic_difference
                .map(|kinematic| row.road_referred_difference - kinematic);
            ladders.note_excess(row.time, excess.filter(|_| row.is_turning));
        }
    }

    /// Blocks and rows are known up to a time; `None` when the log has ended.
    pub fn settle(&mut self, until: Option<Time>) {
        if let Some(ladders) = &mut self.ladders {
            ladders.settle(until);
            self.climbed.extend(ladders.take_finished());
        }
        if let (Ok(watch), None) = (&mut self.responses, until) {
            watch.finish();
            self.found.extend(watch.take_finished());
        }
    }

    /// The response moves before the command asks, in most edges.
    pub fn leading(&self) -> Option<Leading> {
        // Before a release the clutch often still moves from the engagement before it.
        let engagements = self
            .found
            .iter()
            .filter(|response| response.direction() == Direction::Engage);
        let gone = |response: &Response| Some((response.time(), response.gone_before?));
        let all: Vec<(Time, f64)> = engagements.filter_map(gone).collect();
        let windows: Vec<(Time, f64)> = all
            .iter()
            .copied()
            .filter(|(_, gone)| *gone > GONE_FROM)
            .collect();
        let is_most = windows.len() as f64 >= MOST_LEAD * all.len() as f64;
        (all.len() >= LEADS_FROM && is_most).then_some(Leading {
            n_leading: windows.len(),
            n: all.len(),
            windows,
        })
    }

    /// What there is so far, or why nothing can be.
    pub fn outcome(&self) -> Result<Actuator, String> {
        if let Some(Leading { n_leading, n, .. }) = self.leading() {
            return Err(format!(
                "the clutch moves before it is asked to in {n_leading} of {n} engagements: command and {} look exchanged",
                self.signal().as_deref().unwrap_or("response")
            ));
        }
        let watch = self.responses.as_ref().map_err(Clone::clone)?;
        let timing = |direction| Timing {
            dead_time: pool(&self.found, direction, Quantity::DeadTime),
            rise_time: pool(&self.found, direction, Quantity::RiseTime),
            transition_time: pool(&self.found, direction, Quantity::TransitionTime),
            n_edges: watch.n_edges(direction) as usize,
            reasons: reasons(&self.found, direction),
        };
        Ok(Actuator {
            signal: self.signal(),
            engage: timing(Direction::Engage),
            release: timing(Direction::Release),
            throttle_on: self.pedal(Pedal::On),
            lift_off: self.pedal(Pedal::Off),
            responses: self.found.clone(),
        })
    }

    fn signal(&self) -> Option<String> {
        let mut counts = vec![0_usize; self.channels.len()];
        for signal in self.found.iter().filter_map(|response| response.signal) {
            counts[signal] += 1;
        }
        let most = counts.iter().copied().max().filter(|most| *most > 0)?;
        let index = counts.iter().position(|count| *count == most)?;
        Some(self.channels[index].clone())
    }

    fn pedal(&self, pedal: Pedal) -> Option<PedalDelay> {
        self.ladders.as_ref()?;
        let ladders = || self.climbed.iter().filter(|ladder| ladder.pedal == pedal);
        let of = |part: fn(&Ladder) -> Option<f64>| {
            let times: Vec<f64> = ladders().filter_map(part).collect();
            spread(&times)
        };
        Some(PedalDelay {
            n_events: ladders().count(),
            controller: of(|ladder| ladder.controller_s),
            mechanism: of(|ladder| ladder.mechanism_s),
            vehicle: of(|ladder| ladder.vehicle_s),
            whole: of(whole_s),
            wholes: ladders()
                .filter_map(|ladder| Some((ladder.time, whole_s(ladder)?)))
                .collect(),
        })
    }
}

fn whole_s(ladder: &Ladder) -> Option<f64> {
    Some(ladder.controller_s? + ladder.mechanism_s?)
}

fn no_watch(refusal: NoWatch) -> String {
    match refusal {
        NoWatch::NoCommand => "the map has no channel clutch.command".to_owned(),
        NoWatch::NoFullCommand => {
            "the map does not say what counts as a full clutch.command".to_owned()
        }
        NoWatch::NoSignal => "the map has no channel that says what the clutch did: position, torque, pressure, force or motor current".to_owned(),
    }
}
