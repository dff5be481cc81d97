//! Names the candidates, with what speaks for each and what stays unknown.

use crate::curve;
use crate::diagnostic;
use crate::found::{Candidate, Found, Kind, Motion};
use crate::roles;
use crate::signal::Signal;
use crate::wheels::{self, Wheels};

/// Names the candidates.
pub(crate) fn judge(found: &mut Found, signals: &[Signal], copies: &[usize], heard: &[f32]) {
    let kept: Vec<usize> = (0..signals.len())
        .filter(|index| !copies.contains(index))
        .collect();
    let some: Vec<Signal> = kept.iter().map(|index| signals[*index].clone()).collect();
    let wheels = wheels::find(&some);
    let mut taken: Vec<usize> = Vec::new();
    if let Some(wheels) = &wheels {
        found.motion = Motion::Moved;
        let scale = diagnostic::scale(&wheels.mean(&some), heard);
        found.candidates = of_wheels(wheels, &some, scale);
        found.notes = notes(wheels, scale);
        taken = wheels
            .signals
            .iter()
            .chain(&wheels.others)
            .copied()
            .collect();
    }
    found
        .candidates
        .extend(roles::find(&some, wheels.as_ref(), &taken));
    for candidate in &mut found.candidates {
        candidate.signal = kept[candidate.signal];
    }
}

fn of_wheels(
    wheels: &Wheels,
    signals: &[Signal],
    scale: Option<(f64, f64, usize)>,
) -> Vec<Candidate> {
    let n = wheels.signals.len();
    let distance = wheels.distance * 100.0;
    let shared = match (n, wheels.alike) {
        (4, Some(_)) => format!(
            "four of a kind: at the median no two lie further apart than {distance:.2} % of their range"
        ),
        // An axle whose wheels spin runs away from the other.
        (4, None) => format!(
            "two of a kind on each of two axles, which run together: at the median the first two lie \
             {distance:.2} % of their range apart"
        ),
        _ => format!("two of a kind: at the median they lie {distance:.2} % of their range apart"),
    };
    let mut candidates: Vec<Candidate> = Vec::new();
    for (place, (&signal, offset)) in wheels.signals.iter().zip(&wheels.offsets).enumerate() {
        let quality = &signals[signal].quality;
        let mut evidence = vec![shared.clone()];
        evidence.push(format!(
            "wide and smooth: {} to {}, {:.0} times its roughness",
            signals[signal].span.0,
            signals[signal].span.1,
            quality.smooth_bits.exp2()
        ));
        if let Some((r, n_s)) = wheels.alike {
            evidence.push(format!(
                "the two differences across the car run alike: correlation {r:+.2} over {n_s} s"
            ));
        }
        if let Some((code, seconds)) = wheels.at_rest {
            let code = code + offset;
            evidence.push(format!(
                "at rest all of them are on one code, this one on {code:.0}, {seconds:.0} s"
            ));
        }
        if let Some((step, _, n)) = scale {
            evidence.push(format!(
                "one step is {step:.4} km/h by the diagnostic road speed, {n} instants"
            ));
        }
        let rest = wheels.at_rest.map(|(code, _)| code + offset);
        candidates.push(Candidate {
            kind: Kind::WheelSpeed,
            signal,
            evidence,
            corner: wheels.are_sides_known.then_some((place / 2, place % 2)),
            km_per_h: scale.map(|(step, ..)| step),
            zero: rest.or(scale.map(|(_, zero, _)| zero + offset)),
        });
    }
    let mean: Vec<f32> = wheels
        .mean(signals)
        .iter()
        .map(|value| *value as f32)
        .collect();
    let mut others: Vec<(f64, Candidate)> = wheels
        .others
        .iter()
        .map(|&signal| {
            let r = curve::Together::of_curves(&mean, &signals[signal].curve).r();
            let is_in_the_middle = signals[signal].frame() != signals[wheels.signals[0]].frame();
            let kind = match is_in_the_middle && r > 0.999 {
                true => Kind::RoadSpeed,
                false => Kind::WheelCopy,
            };
            let words = format!("runs with the mean of the wheels, correlation {r:.4}");
            let candidate = Candidate {
                kind,
                signal,
                evidence: vec![words],
                corner: None,
                km_per_h: None,
                zero: None,
            };
            (r, candidate)
        })
        .collect();
    others.sort_by(|one, other| other.0.total_cmp(&one.0));
    candidates.extend(others.into_iter().map(|(_, candidate)| candidate));
    candidates
}

/// What is not known, and how it could be.
fn notes(wheels: &Wheels, scale: Option<(f64, f64, usize)>) -> Vec<String> {
    let mut notes = Vec::new();
    if wheels.signals.len() == 2 {
        notes.push(
            "Only two wheel speeds were found: the others are not in this log, or did not turn."
                .to_owned(),
        );
    }
    if wheels.are_sides_known {
        notes.push(
            "Sides are apart, and which is the left one is not known: drive a slow left turn; the wheels \
             that read less are the left ones."
                .to_owned(),
        );
        notes.push(
            "Axles are paired by frame and order, and which is the front one is not known: in a tight slow turn \
             the front wheels run faster than the rear ones."
                .to_owned(),
        );
    } else {
        notes.push(
            "Which wheel is which is not known: too little turning in this log. A slow left turn and a tight \
             one show it."
                .to_owned(),
        );
    }
    if scale.is_none() {
        notes.push(
            "Scale unknown: nothing in this log has a known one. Compare with the speedometer at a steady \
             speed, or log while a tester asks for the road speed."
                .to_owned(),
        );
    }
    if wheels.at_rest.is_none() {
        notes.push(
            "The code of standstill is not known: the car does not stand in this log, or not for a second.".to_owned(),
        );
    }
    notes
}
