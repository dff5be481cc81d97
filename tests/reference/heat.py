"""Heat, times and engagements of the demo drives, computed anew with numpy and scipy.

In: the decoded channels of a drive and the lines of its map. Nothing of the program's own
derivation is used: positions are interpolated at the wheels' times, the torque table is looked
up, slip is half the difference of the wheels, and heat is torque times slip with the sign of
the mean slip over 0.2 s, zero where that mean lies in the noise; the highest is that of a sample. The
program also tells slow steady slip by longer means; that difference must stay below the tolerance.
"""

import re

import numpy as np
from scipy import stats

from common import decode, expect, folder, make_demo, run

DRIVES = ["hard-track-day", "healthy-road", "tired-motor", "mismatched-tyres"]
# Largest relative difference; the heat's is for the longer means that are not made here, the highest heat
# rate's for the noise of one sample, which the program takes out where a short mean shows the same.
TOLERANCES = {
    "heat_total": 0.01,
    "heat_peak": 0.07,
    "duration": 1e-9,
    "moving_time": 0.005,
    "distance": 0.005,
    "partial_by_command": 0.005,
    "engagements": 0.0,
    "oil_temp_max": 0.0,
}
MEAN_OVER_S = 0.2
SIGNIFICANT_SDS = 3.0
MOVING_FROM = 5 / 3.6
BELIEVED_FROM = 1 / 3.6
GAP_S = 0.25


class Car:
    """The figures of the map's car that heat rests on, read from its lines by hand."""

    def __init__(self, map_text):
        def number(pattern):
            return float(re.search(rf"^\s*{pattern}", map_text, re.MULTILINE).group(1))

        self.radius_m = number(r"rolling radius ([\d.]+) m\b")
        self.preload_nm = number(r"preload ([\d.]+) N\.m")
        expect("clutch between case and left side gear" in map_text, "the map states another layout")
        points = re.findall(r"^  at ([\d.]+) gives ([\d.]+)$", map_text, re.MULTILINE)
        expect(len(points) >= 2 and "input deg" in map_text, "the map's torque table was not found")
        self.table_rad = np.radians([float(angle) for angle, _ in points])
        self.table_nm = np.array([float(torque) for _, torque in points])


class Signal:
    """Times in s and values of one channel, NaN where it is missing."""

    def __init__(self, samples):
        self.times = np.array([time_ns for time_ns, _ in samples]) / 1e9
        self.values = np.array([np.nan if value is None else value for _, value in samples])

    def at(self, times):
        """Linear between neighbouring samples; NaN beyond, next to a missing one and in a gap."""
        after = np.searchsorted(self.times, times, side="left")
        is_inside = (after < len(self.times)) & ((after > 0) | (self.times[0] == times))
        after = np.clip(after, 1, len(self.times) - 1)
        before = after - 1
        length = self.times[after] - self.times[before]
        share = (times - self.times[before]) / length
        # At a sample's own time its neighbour does not matter, not even a missing one.
        values = np.where(
            share == 1.0, self.values[after], (1 - share) * self.values[before] + share * self.values[after]
        )
        return np.where(is_inside & (length <= GAP_S), values, np.nan)


def trapezoid(times, values):
    """Integral over the intervals that have a value at both ends and are no gap."""
    lengths = np.diff(times)
    means = 0.5 * (values[1:] + values[:-1])
    return float(np.nansum(np.where(lengths <= GAP_S, means * lengths, 0.0)))


def centred_mean(times, values, width):
    """Mean over a centred window, by integrals of the trapezoid, and how many samples it holds."""
    integral = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(times))])
    low = np.searchsorted(times, times - width / 2 - 1e-7, side="left")
    high = np.searchsorted(times, times + width / 2 + 1e-7, side="right") - 1
    length = np.where(high > low, times[high] - times[low], 1.0)
    return np.where(high > low, (integral[high] - integral[low]) / length, values), high - low + 1


def noise_of(slip, is_rolling):
    """Standard deviation of one slip sample: second differences of white noise have √6 times it."""
    second = slip[:-2] - 2 * slip[1:-1] + slip[2:]
    second = second[is_rolling[:-2] & is_rolling[1:-1] & is_rolling[2:]]
    return stats.median_abs_deviation(second, scale="normal") / np.sqrt(6)


def derive(channels, car):
    """Every figure that is compared, by name."""
    signals = {name: Signal(samples) for name, samples in channels.items()}
    left, right = signals["wheel.rear.left"], signals["wheel.rear.right"]
    expect(np.array_equal(left.times, right.times), "the rear wheels come in one frame")
    is_there = ~np.isnan(left.values) & ~np.isnan(right.values)
    times, left, right = left.times[is_there], left.values[is_there], right.values[is_there]
    expect(np.diff(times).max() < GAP_S, "the demo drives have no gap in the wheel speeds")

    position = signals["clutch.position"].at(times)
    torque = np.interp(position, car.table_rad, car.table_nm)
    torque[np.isnan(position)] = np.nan
    slip = (right - left) / 2
    is_turning = np.maximum(np.abs(left), np.abs(right)) * car.radius_m >= BELIEVED_FROM
    sd = noise_of(slip, is_turning)
    mean, n = centred_mean(times, slip, MEAN_OVER_S)
    sign = np.where((np.abs(mean) >= SIGNIFICANT_SDS * sd / np.sqrt(n)) & is_turning, np.sign(mean), 0.0)
    heat_w = torque * slip * sign
    front = (signals["wheel.front.left"].at(times) + signals["wheel.front.right"].at(times)) / 2
    rear = (left + right) / 2
    speed = np.abs(np.where(np.isnan(front), rear, front)) * car.radius_m
    lengths = np.diff(times)
    weights = 0.5 * (np.concatenate([[0.0], lengths]) + np.concatenate([lengths, [0.0]]))
    command = signals["clutch.command"]
    return {
        "heat_total": trapezoid(times, heat_w) / 1e3,
        "heat_peak": float(np.nanmax(np.abs(torque * slip)[sign != 0.0])) / 1e3,
        "moving_time": float(weights[speed > MOVING_FROM].sum()),
        "distance": trapezoid(times, speed) / 1e3,
        "partial_by_command": partial_time(command),
        "engagements": len(engagements(command)),
        "oil_temp_max": float(np.nanmax(signals["oil.temperature"].values)),
    }


def partial_time(command):
    """Time with the command from 5 % to below 95 %, each sample held until the next."""
    lengths = np.diff(command.times)
    held = command.values[:-1]
    return float(lengths[(held >= 0.05) & (held < 0.95) & (lengths <= GAP_S)].sum())


def runs_of(is_so):
    """First and one past the last index of every run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_so.astype(int), [0]])))
    return list(zip(edges[0::2], edges[1::2]))


def engagements(command):
    """Engagement events as (start, end) in s, by runs of samples instead of a state machine.

    Starts where the command is at 10 % or more for 40 ms and two samples; ends where it then
    first falls below 5 % for 150 ms; closer than 300 ms are one; below 15 % at peak are none.
    """
    times, values = command.times, np.nan_to_num(command.values)
    starts = [
        first
        for first, past in runs_of(values >= 0.10)
        if past - first >= 2 and times[past - 1] - times[first] >= 0.040 - 1e-9
    ]
    ends = [
        first
        for first, past in runs_of(values < 0.05)
        if (times[past] if past < len(times) else np.inf) - times[first] >= 0.150
    ]
    found = []
    for start in starts:
        if found and start < found[-1][1]:
            continue
        end = next((end for end in ends if end > start), len(times) - 1)
        if found and times[start] - times[found[-1][1]] < 0.300:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return [(times[start], times[end]) for start, end in found if values[start:end].max() >= 0.15]


def figures_of_every_demo_drive():
    said, worst, apart = [], {}, []
    for drive in DRIVES:
        with folder() as place:
            log, map_file, told = make_demo(place, drive)
            mine = derive(decode(log, map_file), Car(map_file.read_text(encoding="utf-8")))
            stamps = re.findall(r"^\((\d+)\.(\d{6,9})\)", log.read_text(encoding="ascii"), re.MULTILINE)
        nanoseconds = [int(seconds) * 10**9 + int(fraction.ljust(9, "0")) for seconds, fraction in stamps]
        mine["duration"] = (max(nanoseconds) - min(nanoseconds)) / 1e9
        for name, value in mine.items():
            theirs = told["figures"][name]["value"]
            expect(theirs is not None, f"{drive}: {name} is null, {value} by numpy")
            difference = abs(theirs - value) / abs(value)
            worst[name] = max(worst.get(name, 0.0), difference)
            if difference > TOLERANCES[name]:
                apart.append(f"{drive}: {name} is {theirs} by the program, {value} by numpy, {difference:.2%} apart")
        said.append(f"{drive} {mine['heat_total']:.2f} kJ, {mine['engagements']} engagements")
    listed = ", ".join(f"{name} {difference:.3%}" for name, difference in sorted(worst.items()))
    expect(not apart, "; ".join(apart))
    return f"{'; '.join(said)}. Worst differences: {listed}"


if __name__ == "__main__":
    run([figures_of_every_demo_drive])
