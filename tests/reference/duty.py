"""Cycles of random series, counted anew with the library `rainflow`.

In: series on levels of a power of two, so that neither side rounds. The program's count comes
from the example `count-cycles`, which `cargo test` builds. Both must give the same cycles with
the same ranges, means and counts; with a least range, the library's smaller cycles are left out.
"""

import collections
import os
import pathlib
import subprocess

import numpy as np
import rainflow

from common import PROGRAM, Skipped, expect, run

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


if __name__ == "__main__":
    run([example_of_the_standard, cycles_of_random_series, a_least_range_leaves_out_the_smaller_cycles])
