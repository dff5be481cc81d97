//! How quickly the clutch answered over the drive, and whose delay it was.
//!
//! In: blocks, and rows for the excess of the axle speed difference. Out: [`Actuator`], the
//! answers to the edges of the command pooled by direction, and the delays after the pedal.
//! `halfshaft_driveline::response` measures; here it is gathered and settled. It does not
//! judge: the findings do, and the health index in [`index`].

mod apparent;
pub mod crossings;
pub mod index;
pub mod motor;
pub mod sentence;
pub mod trend;

use crate::reason::{MapFact, Reason};
pub use apparent::Apparent;
pub use index::{HealthIndex, HealthItem, health_index};
pub use motor::{Hold, Motor};

pub use sentence::{Pace, sentence, whole_way_s};

use apparent::ApparentWatch;
use motor::MotorWatch;

use halfshaft_driveline::Row;
use halfshaft_driveline::align::follows_command;
use halfshaft_driveline::response::crossed::{Crossed, crossed};
use halfshaft_driveline::response::ladder::{Ladder, LadderWatch, Pedal, SIGNALS as MECHANISM};
use halfshaft_driveline::response::pool::{Pool, Quantity, pool, reasons};
use halfshaft_driveline::response::resolution::{Spread, spread};
use halfshaft_driveline::response::watch::NoWatch;
use halfshaft_driveline::response::{Direction, Response, ResponseWatch, Unusable};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

use crate::evidence::{Strongest, window};
use crate::limits::{Limits, Swapped};
use crate::part::{Came, Part};
use crate::trust::{COMMAND, Gate, OIL, SLIP, Source};

/// Gathers the answers while the drive goes by.
#[derive(Clone, Debug)]
pub struct ActuatorWatch {
    swapped: Swapped,
    responses: Result<ResponseWatch, Reason>,
    // Only where nothing says what the mechanism did, but perhaps what its motor was given.
    apparent: Option<ApparentWatch>,
    ladders: Option<LadderWatch>,
    motor: MotorWatch,
    found: Vec<Response>,
    // By the time they took; closing and opening.
    longest: [Strongest; 2],
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
    /// The same by crossings, of the edges after which the command held long enough. A time
    /// that the sample periods hide above is hidden here, too.
    pub crossings: Option<Crossed>,
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
    /// The same less the time the driver took to feed the throttle.
    pub beyond_feed: Option<Spread>,
}

/// What the drive says of the actuator.
#[derive(Clone, Debug, PartialEq)]
pub struct Actuator {
    /// Channel that says what the mechanism did, of most answers.
    pub signal: Option<String>,
    /// Closing.
    pub engage: Timing,
    /// Releasing.
    pub release: Timing,
    /// After the throttle is pressed; `None` without throttle or command.
    pub throttle_on: Option<PedalDelay>,
    /// After the throttle is lifted.
    pub lift_off: Option<PedalDelay>,
    /// Every answer that was measured, in order of time.
    pub responses: Vec<Response>,
    /// Every quick movement of the pedal, in order of time.
    pub ladders: Vec<Ladder>,
    /// What the motor drew, and what that did to its supply.
    pub motor: Motor,
}

impl Actuator {
    /// Settles what was gathered; `ladders` is `None` without throttle or command.
    pub fn of(
        responses: Vec<Response>,
        ladders: Option<Vec<Ladder>>,
        signal: Option<String>,
        motor: Motor,
    ) -> Actuator {
        let timing = |direction| Timing {
            dead_time: pool(&responses, direction, Quantity::DeadTime),
            rise_time: pool(&responses, direction, Quantity::RiseTime),
            transition_time: pool(&responses, direction, Quantity::TransitionTime),
            crossings: crossed(&responses, direction),
            n_edges: responses
                .iter()
                .filter(|response| response.direction() == direction)
                .count(),
            reasons: reasons(&responses, direction),
        };
        let pedal = |pedal| ladders.as_deref().map(|ladders| delay(ladders, pedal));
        Actuator {
            signal,
            engage: timing(Direction::Engage),
            release: timing(Direction::Release),
            throttle_on: pedal(Pedal::On),
            lift_off: pedal(Pedal::Off),
            responses,
            ladders: ladders.unwrap_or_default(),
            motor,
        }
    }
}

fn note_move(longest: &mut [Strongest; 2], response: &Response) {
    let Ok(fit) = response.fit else { return };
    let time_s = fit.transition_time_s();
    let end = response.edge.began.plus(time_s);
    longest[usize::from(response.direction() == Direction::Release)]
        .add(time_s, window(response.edge.began, end, &[]));
}

impl Part for ActuatorWatch {
    fn block(&mut self, came: &Came) {
        self.push(came.block);
    }

    fn believed(&mut self, rows: &[Row]) {
        rows.iter().for_each(|row| self.add(row));
    }
}

impl ActuatorWatch {
    /// Nothing seen yet.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &Limits) -> ActuatorWatch {
        let is_seen = channels
            .iter()
            .any(|channel| MECHANISM.contains(&channel.name.as_str()) && !follows_command(channel));
        ActuatorWatch {
            swapped: limits.swapped,
            responses: ResponseWatch::new(vehicle, channels).map_err(no_watch),
            apparent: match is_seen {
                true => None,
                false => ApparentWatch::new(vehicle, channels),
            },
            ladders: LadderWatch::new(vehicle, channels),
            motor: MotorWatch::new(vehicle, channels, &limits.motor),
            found: Vec::new(),
            longest: Default::default(),
            climbed: Vec::new(),
            channels: channels
                .iter()
                .map(|channel| channel.name.clone())
                .collect(),
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        self.motor.push(block);
        if let Ok(watch) = &mut self.responses {
            watch.push(block);
            for response in watch.take_finished() {
                self.motor.note_edge(&response.edge);
                note_move(&mut self.longest, &response);
                self.found.push(response);
            }
        }
        if let Some(apparent) = &mut self.apparent {
            apparent.push(block);
        }
        self.motor.forget(block.until);
        if let Some(ladders) = &mut self.ladders {
            ladders.push(block);
        }
    }

    /// Takes a row: slip, and what the axle does beyond the bend.
    pub fn add(&mut self, row: &Row) {
        if let Some(apparent) = &mut self.apparent {
            apparent.add(row);
        }
        if let Some(ladders) = &mut self.ladders {
            let excess = row
                .kinematic_difference
                .map(|kinematic| row.road_referred_difference - kinematic);
            ladders.note_excess(row.time, excess.filter(|_| row.is_turning));
        }
    }

    /// Blocks and rows are known up to a time; `None` when the log has ended.
    pub fn finish_until(&mut self, until: Option<Time>) {
        if let Some(ladders) = &mut self.ladders {
            ladders.finish_until(until);
            self.climbed.extend(ladders.take_finished());
        }
        if let Some(apparent) = &mut self.apparent {
            apparent.finish_until(until);
        }
        if let (Ok(watch), None) = (&mut self.responses, until) {
            watch.finish();
            for response in watch.take_finished() {
                self.motor.note_edge(&response.edge);
                note_move(&mut self.longest, &response);
                self.found.push(response);
            }
            self.motor.finish();
        }
    }

    /// The moves that took longest, of either direction.
    pub fn longest(&self) -> impl Iterator<Item = &Strongest> {
        self.longest.iter()
    }

    /// The response moves before the command does, in most edges.
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
            .filter(|(_, gone)| *gone > self.swapped.gone_from)
            .collect();
        let is_most = windows.len() as f64 >= self.swapped.lead_share * all.len() as f64;
        (all.len() >= self.swapped.lead_moves as usize && is_most).then_some(Leading {
            n_leading: windows.len(),
            n: all.len(),
            windows,
        })
    }

    /// What there is so far, or why nothing can be.
    pub fn outcome(&self, gate: &Gate) -> Result<Actuator, Reason> {
        if let Some(Leading { n_leading, n, .. }) = self.leading() {
            return Err(Reason::ClutchLeads {
                n_leading,
                n_all: n,
                response: self.signal(),
            });
        }
        let watch = self.responses.as_ref().map_err(Clone::clone)?;
        gate.allows(COMMAND)?;
        // What answered while one of the two stood still is no answer.
        let is_believed = |time: Time| {
            let stood = [Source::Command, Source::State];
            !stood.iter().any(|source| gate.leaves_out(*source, time))
        };
        let ladders = self.ladders.as_ref().map(|_| {
            let climbed = self.climbed.iter();
            climbed
                .filter(|ladder| is_believed(ladder.time))
                .cloned()
                .collect()
        });
        let found = self.found.iter();
        let mut actuator = Actuator::of(
            found
                .filter(|response| is_believed(response.time()))
                .map(|response| Response {
                    oil_c: response.oil_c.filter(|_| !gate.withholds(OIL)),
                    ..*response
                })
                .collect(),
            ladders,
            self.signal(),
            self.motor.outcome(),
        );
        // Of many edges only some were measured.
        actuator.engage.n_edges = watch.n_edges(Direction::Engage) as usize;
        actuator.release.n_edges = watch.n_edges(Direction::Release) as usize;
        Ok(actuator)
    }

    /// What the slip says, where nothing else says how quickly the clutch answers.
    pub fn apparent(&self, gate: &Gate) -> Option<Apparent> {
        let believed = gate.allows(COMMAND | SLIP).is_ok();
        self.apparent
            .as_ref()
            .filter(|_| believed)
            .map(ApparentWatch::outcome)
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
}

/// Answers that are mixed with what is left of one the other way are left out: where closing
/// and release have times of their own, one lag cannot fit both.
pub fn unmixed(all: &[Response], found: Vec<Response>, mixed_s: f64) -> Vec<Response> {
    found
        .into_iter()
        .filter(|response| is_alone(all, response, mixed_s))
        .collect()
}

fn is_alone(all: &[Response], response: &Response, mixed_s: f64) -> bool {
    let n = all.partition_point(|other| other.edge.began < response.edge.began);
    all[..n]
        .iter()
        .rev()
        .take_while(|before| response.edge.began.since(before.edge.ended) < mixed_s)
        .all(|before| before.direction() == response.direction())
}

fn delay(ladders: &[Ladder], pedal: Pedal) -> PedalDelay {
    let of_pedal = || ladders.iter().filter(|ladder| ladder.pedal == pedal);
    let of = |part: fn(&Ladder) -> Option<f64>| {
        let times: Vec<f64> = of_pedal().filter_map(part).collect();
        spread(&times)
    };
    PedalDelay {
        n_events: of_pedal().count(),
        controller: of(|ladder| ladder.controller_s),
        mechanism: of(|ladder| ladder.mechanism_s),
        vehicle: of(|ladder| ladder.vehicle_s),
        whole: of(Ladder::whole_s),
        wholes: of_pedal()
            .filter_map(|ladder| Some((ladder.time, ladder.whole_s()?)))
            .collect(),
        beyond_feed: of(|ladder| Some((ladder.whole_s()? - ladder.feed_s).max(0.0))),
    }
}

fn no_watch(refusal: NoWatch) -> Reason {
    match refusal {
        NoWatch::NoCommand => Reason::NoChannel(name::CLUTCH_COMMAND),
        NoWatch::NoFullCommand => MapFact::FullCommand.into(),
        NoWatch::NoSignal => MapFact::Response.into(),
    }
}
