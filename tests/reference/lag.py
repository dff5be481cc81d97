"""Fits of a lag with dead time against scipy: truth by `lsim`, fits by `curve_fit`.

In: random commands (steps, ramps, early back-off), a lag simulated by `scipy.signal.lsim` on a
fine grid, noise, and samples of command and response that are not synchronous. The program's
fit must be the one of least squares that `curve_fit` finds when it is started at the truth, and
state the same deviations. The reference writes the answer as a sum of shifted step answers;
the program steps from change to change.
"""

import json
import os
import subprocess

import numpy as np
from scipy import optimize, signal

from common import PROGRAM, Skipped, expect, run

EXAMPLE = PROGRAM.parent / "examples" / "fit-response"
N_CASES = 60
# Of the stated deviation: both fits must stand in the same ground of the same valley.
SAME_FIT_SDS = 0.05
# `curve_fit` takes its slopes by differences, and dead time has kinks at the samples.
SAME_SD = 0.25
FINE_S = 0.0005


def command_course(chance):
    """Times and levels of a random command that rests until 0."""
    kind = chance.integers(3)
    top = chance.uniform(0.4, 1.0)
    if kind == 0:
        return [0.0], [top]
    if kind == 1:
        times = np.arange(0.0, 0.4, 0.01)
        return list(times), list(top * (1 + np.arange(len(times))) / len(times))
    return [0.0, chance.uniform(0.15, 0.5)], [top, top * chance.uniform(0.1, 0.6)]


def make_case(chance):
    """Samples of command and response, and the true dead time and lag."""
    dead_time, lag = chance.uniform(0.02, 0.4), chance.uniform(0.04, 0.4)
    times, levels = command_course(chance)
    fine = np.arange(-1.5, 3.0, FINE_S)
    held = np.concatenate([[0.0], levels])
    command = held[np.searchsorted(times, fine, side="right")]
    late = held[np.searchsorted(np.array(times) + dead_time, fine, side="right")]
    _, answer, _ = signal.lsim(([1.0], [lag, 1.0]), late, fine - fine[0], interp=False)
    command_times = np.arange(-1.4 + chance.uniform(0, 0.01), 3.0, 0.01)
    response_times = np.arange(-1.0 + chance.uniform(0, 0.02), 2.9, chance.uniform(0.008, 0.03))
    response = 0.03 + 0.9 * np.interp(response_times, fine, answer)
    response += chance.normal(0.0, 0.004, len(response))
    sampled = command[np.searchsorted(fine, command_times, side="right") - 1]
    return (command_times, sampled), (response_times, response), (dead_time, lag)


def reference_fit(command, response, truth):
    """Gain, offset, dead time, lag and their deviations by `curve_fit`."""
    times, levels = command
    changed = np.flatnonzero(np.diff(levels))
    edges = (times[changed] + times[changed + 1]) / 2
    steps = np.diff(levels)[changed]

    def model(at, gain, offset, dead_time, lag):
        since = np.maximum(at[:, None] - edges[None, :] - dead_time, 0.0)
        return offset + gain * (-np.expm1(-since / lag) @ steps)

    start = [0.9, 0.03, *truth]
    found, covariance = optimize.curve_fit(model, *response, p0=start, xtol=1e-12, ftol=1e-12)
    cost = np.sum((model(response[0], *found) - response[1]) ** 2)
    return found, np.sqrt(np.diag(covariance)), cost


def fits_of_the_program(cases):
    """The program's fits of all cases."""
    if not EXAMPLE.exists():
        raise Skipped(f"{EXAMPLE.name} is not built (cargo build -p halfshaft-driveline --examples)")
    lines = []
    for command, response, _ in cases:
        lines += [f"command {time:.9f} {value!r}" for time, value in zip(command[0], command[1].tolist())]
        lines += [f"response {time:.9f} {value!r}" for time, value in zip(response[0], response[1].tolist())]
        lines.append("end")
    done = subprocess.run(
        [EXAMPLE], input=os.linesep.join(lines) + "\n", capture_output=True, text=True, timeout=120, check=True
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def lag_fits_agree_with_scipy():
    chance = np.random.default_rng(7)
    cases = [make_case(chance) for _ in range(N_CASES)]
    fits = fits_of_the_program(cases)
    expect(len(fits) == N_CASES, f"{len(fits)} fits of {N_CASES} cases")
    worst, n_lower = 0.0, 0
    for number, ((command, response, truth), fit) in enumerate(zip(cases, fits)):
        expect(fit is not None, f"case {number} has no fit")
        found, sds, cost = reference_fit(command, response, truth)
        own_cost = fit["residual_sd"] ** 2 * (len(response[0]) - 4)
        expect(own_cost <= cost * (1 + 1e-6), f"case {number} leaves {own_cost}, scipy only {cost}")
        if own_cost < cost * (1 - 1e-4):
            # `curve_fit` stopped at a kink; there is nothing to compare with.
            n_lower += 1
            continue
        off = max(abs(fit["dead_time_s"] - found[2]) / sds[2], abs(fit["lag_s"] - found[3]) / sds[3])
        worst = max(worst, off)
        expect(off < SAME_FIT_SDS, f"case {number}: {fit} and {found} are {off:.3f} deviations apart")
        for own, other in [(fit["dead_time_sd_s"], sds[2]), (fit["lag_sd_s"], sds[3])]:
            expect(abs(own / other - 1) < SAME_SD, f"case {number}: deviations {own} and {other}")
    expect(n_lower < N_CASES / 4, f"scipy stopped early in {n_lower} of {N_CASES} cases")
    return f"{N_CASES - n_lower} fits at most {worst:.4f} deviations apart; {n_lower} where scipy stopped early"


if __name__ == "__main__":
    run([lag_fits_agree_with_scipy])
