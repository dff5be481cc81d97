//! Samples as they came, of the few stretches that somebody will want to look at closely.
//!
//! In: rows, and the stretches that matter most by then: the hottest events, the longest moves,
//! what checks have found. Out: of each of these every sample, from a second before it to a second
//! behind. Rows are kept for a while, since a stretch is known only when it is over. Memory
//! does not grow with the drive.

use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_model::{Span, Time};

use crate::nouns::{CloseUp, Curve, Event};
use crate::part::Part;
use crate::trust::{Gate, HEAT, Kept};

/// How much before and behind a stretch is shown, s.
const AROUND_S: f64 = 1.0;

/// Of a longer stretch its end is shown, s: the release, and what a check waited for.
const LONGEST_S: f64 = 8.0;

/// Rows kept, s: the longest stretch with what stands before it, a stop that ends an event late, and
/// what a check waits for.
const RECENT_S: f64 = 20.0;

/// Samples given in all: more would make pages heavy.
const MOST_SAMPLES: usize = 12_000;

/// Hottest events given.
pub const N_EVENTS: usize = 5;

/// What is kept of a row.
#[derive(Clone, Copy, Debug)]
struct Moment {
    time: Time,
    difference: f32,
    command: Option<f32>,
    state: Option<f32>,
    heat_w: Kept<Option<f32>, HEAT>,
}

impl Moment {
    fn of(row: &Row) -> Moment {
        let small = |value: Option<f64>| value.map(|value| value as f32);
        Moment {
            time: row.time,
            difference: row.difference as f32,
            command: small(row.command),
            state: small(row.state),
            heat_w: Kept::new(small(row.heat_rate_sharp_w.map(|[_, likely, _]| likely))),
        }
    }
}

/// A stretch with its samples.
#[derive(Clone, Debug)]
struct Cut {
    span: Span,
    until: Time,
    moments: Vec<Moment>,
}

impl Cut {
    fn of(span: Span, recent: &VecDeque<Moment>) -> Cut {
        let latest_start = span.end.plus(-LONGEST_S);
        let from = span.start.max(latest_start).plus(-AROUND_S);
        let until = span.end.plus(AROUND_S);
        let within = |moment: &&Moment| (from..=until).contains(&moment.time);
        Cut {
            span,
            until,
            moments: recent.iter().filter(within).copied().collect(),
        }
    }
}

/// Keeps the samples of what matters most.
#[derive(Clone, Debug, Default)]
pub struct CloseUps {
    recent: VecDeque<Moment>,
    cuts: Vec<Cut>,
    n_stretches: usize,
}

impl CloseUps {
    /// Takes rows of driving; of stretches, how many there have been by now, and those that matter
    /// most, which are asked for only when there are more.
    pub fn take(&mut self, rows: &[Row], n_stretches: usize, wanted: impl FnOnce() -> Vec<Span>) {
        let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
            return;
        };
        self.recent.extend(rows.iter().map(Moment::of));
        for cut in self.cuts.iter_mut().filter(|cut| first.time <= cut.until) {
            let open = rows.iter().take_while(|row| row.time <= cut.until);
            cut.moments.extend(open.map(Moment::of));
        }
        if n_stretches != self.n_stretches {
            self.n_stretches = n_stretches;
            let wanted = wanted();
            self.cuts.retain(|cut| wanted.contains(&cut.span));
            for span in wanted {
                if self.cuts.iter().all(|cut| cut.span != span) {
                    self.cuts.push(Cut::of(span, &self.recent));
                }
            }
        }
        let oldest = last.time.plus(-RECENT_S);
        while self.recent.front().is_some_and(|row| row.time < oldest) {
            self.recent.pop_front();
        }
    }

    /// The samples of the hottest events and then of the stretches that findings point at, gravest
    /// first, as many as fit on a page.
    pub fn outcome(
        &self,
        gate: &Gate,
        events: &[Event],
        of_findings: impl Iterator<Item = Span>,
    ) -> Vec<CloseUp> {
        let mut hot: Vec<(f64, Span)> = events
            .iter()
            .filter_map(|event| Some((event.heat_kj?, event.span)))
            .collect();
        hot.sort_by(|one, other| other.0.total_cmp(&one.0));
        hot.truncate(N_EVENTS);
        let spans = hot.into_iter().map(|(_, span)| span);
        let mut given: Vec<&Cut> = Vec::new();
        let mut n_samples = 0;
        for span in spans.chain(of_findings) {
            let holds = |cut: &&Cut| cut.span == span || is_within(cut, span);
            let Some(cut) = self.cuts.iter().find(holds) else {
                continue;
            };
            let is_new = given.iter().all(|other| other.span != cut.span);
            if is_new && n_samples + cut.moments.len() <= MOST_SAMPLES {
                n_samples += cut.moments.len();
                given.push(cut);
            }
        }
        given.sort_by_key(|cut| cut.span.start);
        given.into_iter().map(|cut| close_up(cut, gate)).collect()
    }
}

/// It is given rows by [`CloseUps::take`], when the other parts have seen them.
impl Part for CloseUps {}

/// What is kept of a stretch shows all of another one.
fn is_within(cut: &Cut, span: Span) -> bool {
    let starts = cut
        .moments
        .first()
        .is_some_and(|first| first.time <= span.start);
    starts && span.end <= cut.until
}

fn close_up(cut: &Cut, gate: &Gate) -> CloseUp {
    let curve = |strip: &'static str, of: &dyn Fn(&Moment) -> Option<f64>| Curve {
        strip,
        samples: cut
            .moments
            .iter()
            .filter_map(|moment| Some((moment.time, of(moment)?)))
            .collect(),
    };
    let percent = |share: Option<f32>| share.map(|share| 100.0 * f64::from(share));
    let curves = [
        curve("axle_speed_difference", &|moment| {
            Some(f64::from(moment.difference))
        }),
        curve("command", &|moment| percent(moment.command)),
        curve("state", &|moment| percent(moment.state)),
        curve("heat_rate", &|moment| {
            let watts = moment.heat_w.ask(gate).ok().copied().flatten()?;
            Some(1e-3 * f64::from(watts))
        }),
    ];
    let is_shown = |curve: &Curve| curve.samples.len() > 1;
    CloseUp {
        span: cut.span,
        curves: curves.into_iter().filter(is_shown).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nouns::EventKind;
    use crate::testing::{gate, row};

    const NONE: [Span; 0] = [];

    fn span(start_s: f64, end_s: f64) -> Span {
        Span {
            start: Time::from_seconds(start_s),
            end: Time::from_seconds(end_s),
        }
    }

    fn event(span: Span, heat_kj: f64) -> Event {
        Event {
            kind: EventKind::Command,
            span,
            command_peak: None,
            slip_peak: None,
            heat_kj: Some(heat_kj),
            heat_peak_kw: None,
            heat_mean_kw: None,
            slip_distance_m: None,
            partial_heat_making_s: None,
            speed_peak_m_per_s: None,
            is_broken: false,
        }
    }

    /// 100 s of rows at 100 Hz, given `n` at a time; a stretch is known a second after its end.
    fn watch(n: usize, stretches: &[Span]) -> CloseUps {
        let rows: Vec<Row> = (0..10_000)
            .map(|index| {
                let mut row = row(f64::from(index) * 0.01);
                row.difference = f64::from(index) * 0.01;
                row.heat_rate_sharp_w = Some([1.0, 2000.0, 3000.0]);
                row
            })
            .collect();
        let mut watch = CloseUps::default();
        for rows in rows.chunks(n) {
            let now = rows[rows.len() - 1].time;
            let known = |span: &&Span| span.end.plus(1.0) <= now;
            let n_known = stretches.iter().filter(known).count();
            let wanted = || stretches.iter().filter(known).copied().collect();
            watch.take(rows, n_known, wanted);
        }
        watch
    }

    fn samples(close_up: &CloseUp, strip: &str) -> Vec<(Time, f64)> {
        let mut curves = close_up.curves.iter();
        curves
            .find(|curve| curve.strip == strip)
            .map_or(Vec::new(), |curve| curve.samples.clone())
    }

    #[test]
    fn a_stretch_is_shown_with_a_second_around_it_sample_by_sample() {
        let stretch = span(40.0, 42.0);
        let sound = gate(&[]);
        let shown = watch(64, &[stretch]).outcome(&sound, &[event(stretch, 3.0)], NONE.into_iter());
        let difference = samples(&shown[0], "axle_speed_difference");
        // Derived: 39 to 43 s at 100 Hz, both ends with it.
        assert_eq!(difference.len(), 401);
        assert!(
            difference
                .iter()
                .all(|(time, value)| (time.seconds() - value).abs() < 1e-4)
        );
        assert!(
            samples(&shown[0], "heat_rate")
                .iter()
                .all(|(_, kw)| *kw == 2.0)
        );
        // Of a long one its last eight seconds.
        let long = span(40.0, 70.0);
        let shown = watch(64, &[long]).outcome(&sound, &[event(long, 3.0)], NONE.into_iter());
        let difference = samples(&shown[0], "axle_speed_difference");
        assert_eq!(difference[0].0, Time::from_seconds(61.0));
        assert_eq!(difference.len(), 1001);
    }

    #[test]
    fn how_rows_come_changes_nothing() {
        let stretches = [span(10.0, 13.0), span(30.0, 30.5), span(55.0, 80.0)];
        let events: Vec<Event> = stretches.iter().map(|span| event(*span, 1.0)).collect();
        let wanted = watch(1, &stretches).outcome(&gate(&[]), &events, NONE.into_iter());
        assert_eq!(wanted.len(), 3);
        for n in [7, 64, 1000] {
            let shown = watch(n, &stretches).outcome(&gate(&[]), &events, NONE.into_iter());
            assert_eq!(shown, wanted, "{n} at a time");
        }
    }

    #[test]
    fn only_the_hottest_are_shown_and_no_more_than_a_page_bears() {
        let stretches: Vec<Span> = (0..8)
            .map(|index| span(10.0 * f64::from(index) + 2.0, 10.0 * f64::from(index) + 3.0))
            .collect();
        let events: Vec<Event> = (0..8)
            .map(|index| event(stretches[index], index as f64))
            .collect();
        let shown = watch(64, &stretches).outcome(&gate(&[]), &events, NONE.into_iter());
        let starts: Vec<f64> = shown.iter().map(|one| one.span.start.seconds()).collect();
        assert_eq!(starts, [32.0, 42.0, 52.0, 62.0, 72.0]);
        // Derived: 9 s with a second around are 1001 samples at 100 Hz, so eleven of twenty fit.
        let long: Vec<Span> = (0..20)
            .map(|index| span(4.0 * f64::from(index) + 2.0, 4.0 * f64::from(index) + 11.0))
            .collect();
        let shown = watch(64, &long).outcome(&gate(&[]), &[], long.iter().copied());
        assert_eq!(shown.len(), 11);
    }
}
