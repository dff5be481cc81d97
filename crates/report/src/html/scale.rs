//! Round numbers along an axis.

/// An axis: its ends, and where it is marked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scale {
    pub low: f64,
    pub high: f64,
    pub ticks: Vec<f64>,
    /// Decimals the ticks need.
    pub decimals: usize,
}

impl Scale {
    /// An axis over `low` to `high` with steps of 1, 2 or 5 and about three steps; its
    /// ends lie on steps.
    pub fn around(low: f64, high: f64) -> Scale {
        let (low, high) = if low < high {
            (low, high)
        } else {
            (low - 0.5, low + 0.5)
        };
        let rough = (high - low) / 3.0;
        let power = 10_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|factor| factor * power)
            .into_iter()
            .find(|&step| step >= rough);
        let step = step.unwrap_or(rough);
        let (first, last) = ((low / step).floor(), (high / step).ceil());
        let ticks = (0..=(last - first) as usize)
            .map(|index| (first + index as f64) * step)
            .collect();
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        Scale {
            low: first * step,
            high: last * step,
            ticks,
            decimals,
        }
    }

    /// Marks of a time axis from 0 to `until_s`, s: at most eight, on steps people count in.
    pub fn of_time(until_s: f64) -> Scale {
        const STEPS_S: [f64; 15] = [
            1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0,
            7200.0, 14_400.0,
        ];
        let high = if until_s > 0.0 { until_s } else { 1.0 };
        let fitting = STEPS_S.into_iter().find(|step| high / step <= 8.0);
        let step = fitting.unwrap_or_else(|| (high / 8.0 / 3600.0).ceil() * 3600.0);
        let ticks = (0..=(high / step).floor() as usize)
            .map(|index| index as f64 * step)
            .collect();
        Scale {
            low: 0.0,
            high,
            ticks,
            decimals: 0,
        }
    }

    /// An axis in powers of ten that holds two positive values: what lies on it is placed by
    /// its decimal logarithm, and marked at each power, where few are at 2 and 5 as well.
    pub fn of_powers(low: f64, high: f64) -> Scale {
        let low = low.max(f64::MIN_POSITIVE);
        // What is a power but for rounding does not open another decade.
        let first = (low.log10() + 1e-9).floor();
        let last = (high.max(low).log10() - 1e-9).ceil().max(first + 1.0);
        let n_decades = (last - first) as usize;
        let marks: &[f64] = if n_decades <= 2 {
            &[1.0, 2.0, 5.0]
        } else {
            &[1.0]
        };
        let mut ticks: Vec<f64> = (0..n_decades)
            .flat_map(|decade| {
                marks
                    .iter()
                    .map(move |mark| first + decade as f64 + mark.log10())
            })
            .collect();
        ticks.push(last);
        Scale {
            low: first,
            high: last,
            ticks,
            decimals: 0,
        }
    }

    /// A mark of an axis in powers of ten in words: `0.05`, `1`, `200`.
    pub fn power(tick: f64) -> String {
        let decimals = (-(tick + 1e-9).floor()).clamp(0.0, 9.0) as usize;
        format!("{:.decimals$}", 10_f64.powf(tick))
    }

    /// From nothing to all.
    pub fn percent() -> Scale {
        Scale {
            low: 0.0,
            high: 100.0,
            ticks: vec![0.0, 50.0, 100.0],
            decimals: 0,
        }
    }

    /// A height from 0 to 1 without marks, for bars.
    pub fn bare() -> Scale {
        Scale {
            low: 0.0,
            high: 1.0,
            ticks: Vec::new(),
            decimals: 0,
        }
    }

    /// How far along the axis a value lies, 0 to 1.
    pub fn share(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    /// A tick in words.
    pub fn label(&self, tick: f64) -> String {
        let text = format!("{:.*}", self.decimals, tick.abs());
        let is_zero = text.chars().all(|c| matches!(c, '0' | '.'));
        match (is_zero, tick < 0.0) {
            (true, _) => "0".to_owned(),
            (false, true) => format!("−{text}"),
            (false, false) => text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(low: f64, high: f64, labels: &str) {
        let scale = Scale::around(low, high);
        let got: Vec<String> = scale.ticks.iter().map(|&tick| scale.label(tick)).collect();
        assert_eq!(got.join(" "), labels);
        assert!(scale.low <= low && scale.high >= high);
    }

    #[test]
    fn axes_are_marked_at_round_numbers() {
        check(0.0, 162.0, "0 100 200");
        check(0.0, 6.1, "0 5 10");
        check(-3.4, 3.6, "−5 0 5");
        check(0.0, 0.061, "0 0.05 0.10");
        check(61.0, 118.0, "60 80 100 120");
        check(5.0, 5.0, "4.5 5.0 5.5");
        let powers = |low: f64, high: f64| -> String {
            let scale = Scale::of_powers(low, high);
            assert!(scale.low <= low.log10() + 1e-9 && scale.high >= high.log10() - 1e-9);
            let labels: Vec<String> = scale.ticks.iter().map(|&tick| Scale::power(tick)).collect();
            labels.join(" ")
        };
        assert_eq!(powers(0.02, 4.0), "0.01 0.1 1 10");
        assert_eq!(powers(1.0, 10.0), "1 2 5 10");
        assert_eq!(powers(0.1, 0.1), "0.1 0.2 0.5 1");
        let times: Vec<f64> = Scale::of_time(1634.0).ticks;
        assert_eq!(times, [0.0, 300.0, 600.0, 900.0, 1200.0, 1500.0]);
        assert_eq!(Scale::of_time(0.0).ticks, [0.0, 1.0]);
        assert!(Scale::of_time(1e7).ticks.len() <= 9);
    }
}
