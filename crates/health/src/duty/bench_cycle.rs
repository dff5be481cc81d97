//! A bench cycle: the duty of the drive as a short table of steps.
//!
//! In: events, and what the map says of the pack. Out: at most thirty steps, each of
//! constant torque and slip, which together make the heat that the events made. Events
//! are grouped by peak power and by duration. What a table of steps cannot keep is the
//! order of the events and the course of power within one; heat made outside events
//! (preload in bends, tyres) is not in it. It refuses events whose heat is not known, and
//! counts them.

use halfshaft_model::Time;

use super::limits::{BENCH_DURATION_EDGES_S, BENCH_POWER_CLASSES};
use crate::nouns::Event;

/// What is known of the pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BenchPack {
    /// Net lining area of all packs, mm².
    pub area_mm2: Option<f64>,
    /// Mean friction radius, m.
    pub friction_radius_m: Option<f64>,
    /// Packs that share the heat.
    pub n_packs: f64,
}

/// One step: engage like this, so many times.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchStep {
    /// Slip speed, rad/s; `None` when the way of the linings is not known.
    pub slip_rad_per_s: Option<f64>,
    /// Torque of one pack, N·m: with slip, duration and packs it makes the energy.
    pub torque_nm: Option<f64>,
    /// How long it slips, s.
    pub duration_s: f64,
    /// Heat of all packs each time, J.
    pub energy_j: f64,
    /// Mean power per net lining area, W/mm².
    pub power_w_per_mm2: Option<f64>,
    /// Highest peak power per net lining area among the events it stands for, W/mm².
    pub peak_w_per_mm2: Option<f64>,
    /// How often.
    pub count: u64,
    /// From its end to the next step, s; `None` when no event followed.
    pub pause_s: Option<f64>,
    /// Mean oil temperature at the start, °C.
    pub oil_temp_c: Option<f64>,
}

/// The duty of a drive as steps, gentlest power first and short before long.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BenchCycle {
    /// The steps.
    pub steps: Vec<BenchStep>,
    /// Events whose heat is not known or none: they are not in it.
    pub n_left_out: u64,
    /// Events among those counted whose heat is a lower bound.
    pub n_at_least: u64,
}

/// Sums of one class.
#[derive(Clone, Debug, Default)]
struct Class {
    count: u64,
    duration_s: f64,
    energy_j: f64,
    peak_w: f64,
    // Slip angle, and the energy of the events that it is known of.
    slip_rad: f64,
    is_slip_known: bool,
    pauses: (f64, u64),
    oil: (f64, u64),
}

/// The bench cycle of events in order of time; `oil_temp_at` gives the oil temperature in
/// °C when it is known.
///
/// An event stands for a rectangle of its heat E: it lasts as long as the pack made heat
/// in partial engagement, but no longer than the event and no shorter than E over its
/// peak power, so that no step is hotter than the hottest event of its class. Of a class,
/// durations, energies and pauses are means, so count × energy sums to the heat of the
/// events exactly. ω = way / (friction radius · duration), T = E / (ω · duration · packs).
/// Source: a definition of this program.
pub fn bench_cycle(
    events: &[Event],
    pack: &BenchPack,
    oil_temp_at: impl Fn(Time) -> Option<f64>,
) -> BenchCycle {
    let highest_kw = events.iter().filter_map(peak_kw).fold(0.0, f64::max);
    let n_durations = BENCH_DURATION_EDGES_S.len() + 1;
    let mut classes = vec![Class::default(); BENCH_POWER_CLASSES * n_durations];
    let mut cycle = BenchCycle::default();
    for (index, event) in events.iter().enumerate() {
        let heat_kj = event.heat_kj.filter(|kj| kj.is_finite() && *kj > 0.0);
        let (Some(heat_kj), Some(peak_kw)) = (heat_kj, peak_kw(event)) else {
            cycle.n_left_out += 1;
            continue;
        };
        let duration_s = duration_s(event, heat_kj / peak_kw);
        let power = power_class(peak_kw / highest_kw);
        let length = BENCH_DURATION_EDGES_S.partition_point(|edge| *edge < duration_s);
        let class = &mut classes[power * n_durations + length];
        cycle.n_at_least += u64::from(event.is_broken);
        if class.count == 0 {
            class.is_slip_known = true;
        }
        class.count += 1;
        class.duration_s += duration_s;
        class.energy_j += heat_kj * 1e3;
        class.peak_w = class.peak_w.max(peak_kw * 1e3);
        match (event.slip_distance_m, pack.friction_radius_m) {
            (Some(way_m), Some(radius_m)) if radius_m > 0.0 => class.slip_rad += way_m / radius_m,
            _ => class.is_slip_known = false,
        }
        if let Some(next) = events.get(index + 1) {
            let pause_s = next.span.start.since(event.span.start) - duration_s;
            class.pauses = (class.pauses.0 + pause_s.max(0.0), class.pauses.1 + 1);
        }
        if let Some(celsius) = oil_temp_at(event.span.start) {
            class.oil = (class.oil.0 + celsius, class.oil.1 + 1);
        }
    }
    cycle.steps = classes
        .iter()
        .filter_map(|class| class.step(pack))
        .collect();
    cycle
}

/// Highest power of an event; its mean power where the peak is lower for want of samples.
fn peak_kw(event: &Event) -> Option<f64> {
    let heat_kj = event.heat_kj?;
    let mean_kw = heat_kj / event.span.seconds();
    let peak_kw = event.heat_peak_kw.unwrap_or(mean_kw).max(mean_kw);
    (peak_kw.is_finite() && peak_kw > 0.0).then_some(peak_kw)
}

fn duration_s(event: &Event, least_s: f64) -> f64 {
    let whole_s = event.span.seconds();
    let partial_s = event.partial_heat_making_s.filter(|seconds| *seconds > 0.0);
    partial_s.unwrap_or(whole_s).min(whole_s).max(least_s)
}

/// Class of a peak as a share of the highest: the last is the top half.
fn power_class(share: f64) -> usize {
    let mut class = BENCH_POWER_CLASSES - 1;
    let mut edge = 0.5;
    while class > 0 && share < edge {
        class -= 1;
        edge *= 0.5;
    }
    class
}

impl Class {
    fn step(&self, pack: &BenchPack) -> Option<BenchStep> {
        if self.count == 0 {
            return None;
        }
        let n = self.count as f64;
        let mean = |(sum, n): (f64, u64)| (n > 0).then(|| sum / n as f64);
        let slip_rad_per_s =
            (self.is_slip_known && self.slip_rad > 0.0).then(|| self.slip_rad / self.duration_s);
        let area_mm2 = pack.area_mm2.filter(|area| *area > 0.0);
        Some(BenchStep {
            slip_rad_per_s,
            torque_nm: slip_rad_per_s
                .filter(|_| pack.n_packs > 0.0)
                .map(|slip| self.energy_j / (slip * self.duration_s * pack.n_packs)),
            duration_s: self.duration_s / n,
            energy_j: self.energy_j / n,
            power_w_per_mm2: area_mm2.map(|area| self.energy_j / self.duration_s / area),
            peak_w_per_mm2: area_mm2.map(|area| self.peak_w / area),
            count: self.count,
            pause_s: mean(self.pauses),
            oil_temp_c: mean(self.oil),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::event;
    use proptest::prelude::*;

    const PACK: BenchPack = BenchPack {
        area_mm2: Some(50e3),
        friction_radius_m: Some(0.05),
        n_packs: 1.0,
    };

    /// An engagement of constant 500 N·m and 8 rad/s for 2 s of 3 s: 8 kJ at 4 kW.
    fn steady(start_s: f64) -> Event {
        let mut event = event(start_s, start_s + 3.0, 8.0);
        event.heat_peak_kw = Some(4.0);
        event.partial_heat_making_s = Some(2.0);
        event.slip_distance_m = Some(8.0 * 2.0 * 0.05);
        event
    }

    #[test]
    fn like_events_become_the_step_they_were() {
        let events = [steady(0.0), steady(30.0), steady(90.0)];
        let cycle = bench_cycle(&events, &PACK, |time| Some(90.0 + time.seconds()));
        let [step] = cycle.steps.as_slice() else {
            panic!("{cycle:?}");
        };
        assert!((step.slip_rad_per_s.unwrap() - 8.0).abs() < 1e-9);
        assert!((step.torque_nm.unwrap() - 500.0).abs() < 1e-9);
        assert_eq!(
            (step.count, step.duration_s, step.energy_j),
            (3, 2.0, 8000.0)
        );
        // 4 kW over 50,000 mm²: 0.08 W/mm². Pauses 28 s and 58 s; oil 90, 120, 180 °C.
        assert!((step.power_w_per_mm2.unwrap() - 0.08).abs() < 1e-12);
        assert!((step.peak_w_per_mm2.unwrap() - 0.08).abs() < 1e-12);
        assert_eq!((step.pause_s, step.oil_temp_c), (Some(43.0), Some(130.0)));
        // Two packs share the heat: half the torque each.
        let two = BenchPack {
            n_packs: 2.0,
            ..PACK
        };
        let shared = bench_cycle(&events, &two, |_| None);
        assert!((shared.steps[0].torque_nm.unwrap() - 250.0).abs() < 1e-9);
        assert_eq!(shared.steps[0].oil_temp_c, None);
    }

    #[test]
    fn hard_and_long_events_are_steps_of_their_own() {
        let mut hard = steady(10.0);
        (hard.heat_kj, hard.heat_peak_kw) = (Some(40.0), Some(20.0));
        let mut brief = steady(20.0);
        (brief.heat_kj, brief.partial_heat_making_s) = (Some(1.0), Some(0.3));
        let cycle = bench_cycle(&[steady(0.0), hard, brief], &PACK, |_| None);
        let told: Vec<(f64, f64, u64)> = cycle
            .steps
            .iter()
            .map(|step| (step.energy_j, step.duration_s, step.count))
            .collect();
        assert_eq!(
            told,
            [(1000.0, 0.3, 1), (8000.0, 2.0, 1), (40000.0, 2.0, 1)]
        );
        assert_eq!(cycle.steps[0].pause_s, None);
    }

    #[test]
    fn a_step_is_no_hotter_than_its_events() {
        // 8 kJ at a peak of 4 kW take 2 s, whatever the partial time says.
        let mut event = steady(0.0);
        event.partial_heat_making_s = Some(0.1);
        let cycle = bench_cycle(&[event.clone()], &PACK, |_| None);
        assert_eq!(cycle.steps[0].duration_s, 2.0);
        // And without it the whole event.
        event.partial_heat_making_s = None;
        let cycle = bench_cycle(&[event], &PACK, |_| None);
        assert_eq!(cycle.steps[0].duration_s, 3.0);
    }

    #[test]
    fn what_is_not_known_stays_so() {
        let mut unknown = steady(0.0);
        unknown.heat_kj = None;
        let mut broken = steady(10.0);
        (broken.slip_distance_m, broken.is_broken) = (None, true);
        let no_area = BenchPack {
            area_mm2: None,
            ..PACK
        };
        let cycle = bench_cycle(&[unknown, broken], &no_area, |_| None);
        assert_eq!((cycle.n_left_out, cycle.n_at_least), (1, 1));
        let step = &cycle.steps[0];
        assert_eq!((step.slip_rad_per_s, step.torque_nm), (None, None));
        assert_eq!((step.power_w_per_mm2, step.peak_w_per_mm2), (None, None));
        assert_eq!(bench_cycle(&[], &PACK, |_| None), BenchCycle::default());
    }

    proptest! {
        #[test]
        fn steps_make_the_heat_of_the_events(
            drawn in prop::collection::vec((0.01_f64..500.0, 0.05_f64..60.0, 1.0_f64..20.0, 0.0_f64..1.0), 1..200),
        ) {
            let mut start_s = 0.0;
            let mut events = Vec::new();
            for (heat_kj, length_s, sharpness, share) in drawn {
                let mut event = event(start_s, start_s + length_s, heat_kj);
                event.heat_peak_kw = Some(heat_kj / length_s * sharpness);
                event.partial_heat_making_s = Some(share * length_s);
                event.slip_distance_m = Some(0.2 * length_s);
                events.push(event);
                start_s += length_s + 1.0;
            }
            let cycle = bench_cycle(&events, &PACK, |_| None);
            prop_assert!(cycle.steps.len() <= 30);
            let n: u64 = cycle.steps.iter().map(|step| step.count).sum();
            prop_assert_eq!(n, events.len() as u64);
            let joules: f64 = events.iter().filter_map(|event| event.heat_kj).sum::<f64>() * 1e3;
            let by_energy: f64 = cycle.steps.iter().map(|step| step.energy_j * step.count as f64).sum();
            prop_assert!((by_energy / joules - 1.0).abs() < 1e-9);
            // And so does torque × slip × duration, which is what the bench is set to.
            let by_torque: f64 = cycle
                .steps
                .iter()
                .map(|step| {
                    let torque = step.torque_nm.unwrap_or(0.0) * step.slip_rad_per_s.unwrap_or(0.0);
                    torque * step.duration_s * step.count as f64
                })
                .sum();
            prop_assert!((by_torque / joules - 1.0).abs() < 1e-9);
            for step in &cycle.steps {
                let (mean, peak) = (step.power_w_per_mm2.unwrap(), step.peak_w_per_mm2.unwrap());
                prop_assert!(mean <= peak * (1.0 + 1e-9));
            }
        }
    }
}
