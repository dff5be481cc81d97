"""Cycles and tables of duty, counted anew with the library `rainflow` and with numpy.

The tables of a demo drive are made again from the samples that `halfshaft export` writes.
In: series on levels of a power of two, so that neither side rounds. The program's count comes
from the example `count-cycles`, which `cargo test` builds. Both must give the same cycles with
the same ranges, means and counts; with a least range, the library's smaller cycles are left out.
"""

import collections
import os
import pathlib
import subprocess

import numpy as np
import pyarrow.parquet
import rainflow

from common import PROGRAM, Skipped, expect, folder, halfshaft, make_demo, on, run

EXAMPLE = PROGRAM.parent / "examples" / "count-cycles"
WIDTH = 2.0**-8
LOWEST, HIGHEST = -64.0, 63.0
N_SERIES = 200


def counted(values, least_range):
    """Cycles by the program: (range, mean) -> count."""
    if not EXAMPLE.is_file():
        raise Skipped(f"{pathlib.Path(os.path.relpath(EXAMPLE))} is not there; `cargo test` builds it")
    lines = [f"{WIDTH!r} {LOWEST!r} {HIGHEST!r} {least_range!r}", *(repr(float(value)) for value in values)]
    done = subprocess.run([EXAMPLE], input="\n".join(lines), capture_output=True, text=True, timeout=60, check=False)
    expect(done.returncode == 0, f"count-cycles ended with {done.returncode}: {done.stderr.strip()}")
    cycles = {}
    for line in done.stdout.splitlines():
        size, mean, count = map(float, line.split())
        expect((size, mean) not in cycles, f"range {size} about {mean} is told twice")
        cycles[size, mean] = count
    return cycles


def by_library(values, least_range):
    """The same by the library."""
    cycles = collections.Counter()
    for size, mean, count, _, _ in rainflow.extract_cycles([float(value) for value in values]):
        if size >= max(least_range, WIDTH):
            cycles[size, mean] += count
    return dict(cycles)


def series(random, kind, n):
    """A series of n values: noise, a random walk, or an engagement after the other."""
    if kind == "noise":
        values = random.normal(0.0, 15.0, n)
    elif kind == "walk":
        values = np.cumsum(random.normal(0.0, 1.5, n))
    else:
        values = np.repeat(random.uniform(-60.0, 60.0, n // 4 + 1), 4)[:n]
    return np.clip(np.round(values / WIDTH) * WIDTH, LOWEST, HIGHEST)


def example_of_the_standard():
    values = [-2, 1, -3, 5, -1, 3, -4, 4, -2]
    mine, theirs = counted(values, 0.0), by_library(values, 0.0)
    expect(mine == theirs, f"{mine} by the program, {theirs} by the library")
    by_range = collections.Counter()
    for (size, _), count in mine.items():
        by_range[size] += count
    # ASTM E1049-85, section 5.4.4.
    wanted = {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
    expect(dict(by_range) == wanted, f"{dict(by_range)} by range, not {wanted}")
    return f"{sum(mine.values())} cycles, by range and by mean"


def cycles_of_random_series():
    random = np.random.default_rng(1049)
    n_cycles = 0.0
    for index in range(N_SERIES):
        kind = ["noise", "walk", "steps"][index % 3]
        # From three samples on: of two, the library leaves out the last.
        values = series(random, kind, int(random.integers(3, 2000)))
        mine, theirs = counted(values, 0.0), by_library(values, 0.0)
        apart = {key for key in mine.keys() | theirs.keys() if mine.get(key) != theirs.get(key)}
        expect(not apart, f"series {index} ({kind}): {len(apart)} ranges are counted differently, {sorted(apart)[:3]}")
        n_cycles += sum(mine.values())
    expect(n_cycles > 10_000, f"only {n_cycles} cycles were compared")
    return f"{N_SERIES} series, {n_cycles:.0f} cycles, all equal"


def a_least_range_leaves_out_the_smaller_cycles():
    random = np.random.default_rng(544)
    n_cycles = 0.0
    for index in range(N_SERIES):
        values = series(random, ["noise", "walk"][index % 2], 1500)
        least = float(random.integers(1, 20))
        mine, theirs = counted(values, least), by_library(values, least)
        expect(mine == theirs, f"series {index} with a least range of {least} differs")
        n_cycles += sum(mine.values())
    return f"{N_SERIES} series, {n_cycles:.0f} cycles, all equal"


# A gap of the wheels longer than this is no time of driving, s.
GAP_S = 0.25
# The program leaves out slow turning and noise, and settles signs by longer windows.
TOLERANCE = 0.02


class Duty:
    """A demo drive: its report, and slip, torque and time of each exported sample."""

    def __init__(self, place):
        log, map_file, self.report = make_demo(place)
        out = pathlib.Path(place) / "out"
        halfshaft("export", log, "--map", map_file, "--to", out)
        table = pyarrow.parquet.read_table(out / "samples.parquet").to_pandas()
        named = {name: rows for name, rows in table.groupby("channel", observed=True)}
        torque = named["pack.torque"].set_index("time_ns")["value"]
        slip = named["pack.slip.sharp"].set_index("time_ns")["value"]
        self.torques = torque.dropna().to_numpy()
        both = slip.to_frame("slip").join(torque.rename("torque"), how="inner").dropna()
        steps = np.diff(both.index.to_numpy()) / 1e9
        halves = np.where(steps <= GAP_S, steps, 0.0) / 2
        self.seconds = np.concatenate([[0.0], halves]) + np.concatenate([halves, [0.0]])
        self.slip, self.torque = np.abs(both["slip"].to_numpy()), both["torque"].to_numpy()
        self.steps = pyarrow.parquet.read_table(out / "bench_cycle.parquet").to_pandas()

    def figure(self, name):
        return self.report["figures"][name]["value"]


def heat_and_time_by_slip(duty):
    picture = duty.report["duty_picture"]
    edges = picture["slip_edges_rad_per_s"]
    joules = np.reshape(picture["joules"], (-1, len(edges) + 1)).sum(axis=0)
    seconds = np.reshape(picture["seconds"], (-1, len(edges) + 1)).sum(axis=0)
    told = []
    for index, edge in enumerate(edges):
        if edge < 1:
            continue
        is_above = duty.slip > edge
        mine = (duty.slip * duty.torque * duty.seconds)[is_above].sum()
        my_seconds = duty.seconds[is_above].sum()
        theirs, their_seconds = joules[index + 1 :].sum(), seconds[index + 1 :].sum()
        allowed = TOLERANCE * joules.sum()
        expect(abs(mine - theirs) < allowed, f"above {edge} rad/s {theirs:.0f} J in the table, {mine:.0f} J from the samples")
        allowed = TOLERANCE * seconds[edges.index(1) + 1 :].sum()
        expect(abs(my_seconds - their_seconds) < allowed, f"above {edge} rad/s {their_seconds:.2f} s, {my_seconds:.2f} s")
        told.append(f"{theirs / 1e3:.1f} kJ above {edge:g}")
    expect(joules[edges.index(5) + 1 :].sum() > 0, "nothing slips faster than 5 rad/s")
    return ", ".join(told) + " rad/s in the table and from the samples"


def the_bench_cycle_is_the_drive(duty):
    steps = duty.steps
    power = steps["energy_j"] / steps["duration_s"]
    expect(len(steps) <= 60, f"{len(steps)} steps")
    by_torque = steps["torque_nm"] * steps["slip_rad_per_s"] * steps["duration_s"] * steps["count"]
    for name, joules in (("energy", (steps["energy_j"] * steps["count"]).sum()), ("torque and slip", by_torque.sum())):
        wanted = duty.figure("heat_total") * 1e3
        expect(abs(joules / wanted - 1) < 0.05, f"{joules:.0f} J by {name}, {wanted:.0f} J in the report")
    peak = (duty.slip * duty.torque).max()
    expect(abs(power.max() / peak - 1) < 0.05, f"hottest step {power.max():.0f} W, hottest sample {peak:.0f} W")
    hot = 0.5 * peak
    mine = (duty.slip * duty.torque * duty.seconds)[duty.slip * duty.torque >= hot].sum()
    theirs = (steps["energy_j"] * steps["count"])[power >= hot].sum()
    expect(abs(theirs / mine - 1) < 0.05, f"above half of the peak {theirs:.0f} J in the steps, {mine:.0f} J in the samples")
    return f"{len(steps)} steps: {power.max() / 1e3:.2f} kW at most, {theirs / 1e3:.1f} kJ above half of it"


def torque_cycles_of_a_drive(duty):
    matrix = duty.report["duty"]["torque_cycles"]["result"]
    levels = np.clip(np.floor(duty.torques / 10.0 + 0.5) * 10.0, 0.0, 6000.0)
    counts = np.zeros((len(matrix["range_edges"]) + 1, len(matrix["mean_edges"]) + 1))
    for size, mean, count, _, _ in rainflow.extract_cycles(levels.tolist()):
        if size >= 20.0:
            row = np.searchsorted(matrix["range_edges"], size)
            counts[row, np.searchsorted(matrix["mean_edges"], mean)] += count
    theirs = np.array(matrix["counts"])
    expect(theirs.sum() > 10, f"only {theirs.sum()} cycles")
    expect((counts == theirs).all(), f"{theirs.tolist()} by the program, {counts.tolist()} by the library")
    return f"{theirs.sum():.0f} cycles of the torque of a drive, cell by cell"


if __name__ == "__main__":
    with folder() as place:
        duty = Duty(place)

        of_drive = [heat_and_time_by_slip, the_bench_cycle_is_the_drive, torque_cycles_of_a_drive]
        of_series = [example_of_the_standard, cycles_of_random_series, a_least_range_leaves_out_the_smaller_cycles]
        run(of_series + [on(duty, check) for check in of_drive])
