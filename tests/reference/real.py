"""Real recordings of two cars with an open rear axle, when HALFSHAFT_REAL_LOGS names their folder.

One comes with wheel speeds that its publisher decoded; the other has lost frames all over. The
maps are in tests/real.
"""

import csv
import re
from decimal import Decimal

from common import ROOT, decode, expect, real_logs, report, run

WHEELS = ["wheel.front.left", "wheel.front.right", "wheel.rear.left", "wheel.rear.right"]
PUBLISHED = ["front_left_m_per_s", "front_right_m_per_s", "rear_left_m_per_s", "rear_right_m_per_s"]
# The published speeds have six decimals.
TOLERANCE_M_PER_S = 1e-6
LEAST_GAP_S = 0.25


def map_of(name):
    """The map of a recording, and the rolling radius it states."""
    map_file = ROOT / "tests" / "real" / f"{name}.map"
    radius = re.search(r"^\s*rolling radius ([\d.]+) m\b", map_file.read_text(encoding="utf-8"), re.MULTILINE)
    return map_file, float(radius.group(1))


def published_wheel_speeds():
    place = real_logs() / "highway"
    map_file, radius_m = map_of("highway")
    log = place / "highway.log"
    with log.open(encoding="ascii") as lines:
        first = Decimal(next(lines)[1:].partition(")")[0])
    with (place / "published_wheel_speeds.csv").open(encoding="ascii", newline="") as lines:
        rows = list(csv.DictReader(lines))
    channels = decode(log, map_file)
    worst = 0.0
    for wheel, column in zip(WHEELS, PUBLISHED):
        samples = channels[wheel]
        expect(len(samples) == len(rows), f"{wheel}: {len(samples)} samples, {len(rows)} are published")
        for (time_ns, value), row in zip(samples, rows):
            wanted_ns = int((Decimal(row["time_s"]) - first) * 10**9)
            expect(abs(time_ns - wanted_ns) <= 1000, f"{wheel}: sample at {time_ns} ns, published for {wanted_ns} ns")
            expect(value is not None, f"{wheel}: missing at {row['time_s']}")
            difference = abs(value * radius_m - float(row[column]))
            expect(difference <= TOLERANCE_M_PER_S, f"{wheel} at {row['time_s']}: {value * radius_m}, published {row[column]}")
            worst = max(worst, difference)
    return f"{len(WHEELS) * len(rows)} wheel speeds as published, worst difference {worst:.1e} m/s"


def expect_quiet(said):
    """Wheel speeds alone say nothing of heat, oil, actuator or slip, and nothing is wrong."""
    unknown = (
        "heat_total heat_peak heat_per_km heat_preload heat_commanded heat_spin specific_energy_max specific_power_max "
        "slip_peak partial_by_command partial_heat_making engagements oil_temp_max oil_headroom pack_temp_max "
        "oil_distance_factor laps_to_limit dead_time rise_time transition_time release_time throttle_on_delay "
        "lift_off_delay actuator_health held_over_stated severity"
    ).split()
    for name in unknown:
        figure = said["figures"][name]
        expect(figure["value"] is None and bool(figure["why_null"]), f"{name}: {figure['value']}, {figure['why_null']!r}")
    for name in ("thermal", "outlook"):
        expect(said[name]["result"] is None and bool(said[name]["why_null"]), f"{name} is told")
    grave = [finding["id"] for finding in said["findings"] if finding["id"] != "log-not-fit"]
    expect(not grave, f"findings: {grave}")
    return unknown


def report_of_an_axle_without_a_clutch():
    log = real_logs() / "highway" / "highway.log"
    said = report(log, map_of("highway")[0])
    expect(said["tier"]["number"] == 0, f"tier {said['tier']['number']}, not 0")
    expect("wheel speeds only" in said["tier"]["words"], f"tier in words: {said['tier']['words']}")
    figures = said["figures"]
    unknown = expect_quiet(said)
    for name in ("moving_time", "distance"):
        expect(figures[name]["value"] is not None, f"{name} is null: {figures[name]['why_null']}")
    questions = {entry["code"] for entry in said["cannot_tell"]}
    expect(bool(questions), "the report leaves no question open")
    # Sixty seconds at 8 to 20 m/s, say the notes published with it.
    distance_km, moving_s = figures["distance"]["value"], figures["moving_time"]["value"]
    expect(0.48 <= distance_km <= 1.2 and 55 <= moving_s <= 61, f"{distance_km} km in {moving_s} s")
    return (
        f"tier 0, {len(unknown)} figures null with a reason, {distance_km:.3f} km in {moving_s:.1f} s; "
        f"left open: {', '.join(sorted(questions))}"
    )


def gaps_of_a_lossy_recording():
    place = real_logs() / "lossy" / "frames.csv"
    map_file, radius_m = map_of("lossy")
    with place.open(encoding="ascii", newline="") as lines:
        rows = list(csv.DictReader(lines))
    first = Decimal(rows[0]["Time"])
    # Bus 0, frame 0x0AA: rear left in bytes 6 7, rear right in 4 5; 0.01 km/h, -67.67 km/h.
    wheels = [row for row in rows if row["Bus"] == "0" and row["MessageID"] == "170"]
    raw = {}
    for row in wheels:
        payload = bytes.fromhex(row["Message"])
        left, right = (int.from_bytes(payload[at : at + 2], "big") * 0.01 - 67.67 for at in (6, 4))
        raw[round((Decimal(row["Time"]) - first) * 10**6)] = (left / 3.6 / radius_m, right / 3.6 / radius_m)
    channels = decode(place, map_file)
    worst = 0.0
    for side, wheel in enumerate(("wheel.rear.left", "wheel.rear.right")):
        samples = channels[wheel]
        expect(len(samples) == len(wheels), f"{wheel}: {len(samples)} samples of {len(wheels)} frames")
        for time_ns, value in samples:
            wanted = raw.get(round(time_ns / 1000))
            expect(wanted is not None, f"{wheel}: a sample at {time_ns} ns, where the log has no frame")
            expect(value is not None, f"{wheel}: missing at {time_ns} ns")
            worst = max(worst, abs(value - wanted[side]))
    expect(worst < 1e-9, f"wheel speeds differ by {worst} rad/s")

    said = report(place, map_file)
    times = sorted(raw)
    long = [(a / 1e6, b / 1e6) for a, b in zip(times, times[1:]) if b - a > LEAST_GAP_S * 1e6]
    told = [gap for gap in said["quality"]["gaps"] if gap["channel"] == "wheel.rear.left"]
    expect(said["quality"]["n_gaps"] > 0, "no gap is reported")
    n_told = said["quality"]["coverage"]["wheel.rear.left"]["gaps"]
    expect(n_told == len(long), f"{n_told} gaps of the wheel speeds are reported, the file has {len(long)} over {LEAST_GAP_S} s")
    for gap in told:
        is_one = any(abs(gap["start_s"] - a) < 1e-5 and abs(gap["end_s"] - b) < 1e-5 for a, b in long)
        expect(is_one, f"a gap from {gap['start_s']} to {gap['end_s']} s is reported that the file has not")
    expect_quiet(said)
    moving = said["figures"]["moving_time"]
    expect(moving["at_least"], "moving time over gaps is not said to be a lower bound")
    hidden_s = sum(b - a for a, b in long)
    longest = (times[-1] - times[0]) / 1e6 - hidden_s
    expect(moving["value"] <= longest + 1e-6, f"{moving['value']} s moving, but only {longest} s are covered")
    return (
        f"{2 * len(wheels)} samples where the file has frames and nowhere else; {n_told} gaps over {LEAST_GAP_S} s "
        f"({hidden_s:.1f} s in all) are told, none is filled; moving time is at least {moving['value']:.1f} s"
    )


if __name__ == "__main__":
    run([published_wheel_speeds, report_of_an_axle_without_a_clutch, gaps_of_a_lossy_recording])
