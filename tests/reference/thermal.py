"""The three-node thermal model, run and fitted anew with scipy.

In: loads, start and parameters as the example `thermal-series` of the driveline crate prints
them. The temperatures are integrated by `solve_ivp`, a sensor's readings are made from them for
a unit of other parameters, and `least_squares` fits the same unknowns to these readings. The
program's trace, fitted parameters and hottest pack must agree.
"""

import subprocess

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from common import ROOT, expect, run, strict_json

# The program integrates each half second exactly enough; scipy to 1e-8.
TRACE_TOLERANCE_K = 0.002
# The program weighs readings by the scatter it finds and fits in bins of a second.
PACK_TOLERANCE_K = 0.5
FIT_TOLERANCE_SDS = 0.2
# The unit that makes the readings, against the defaults.
TRUE_FACTORS = np.array([1.15, 0.85, 1.1, 0.85, 1.15, 0.9, 1.1, 0.9, 1.2])
N_PARAMETERS = len(TRUE_FACTORS)
SENSOR_NOISE_K = 0.2


def example(readings):
    """What the example prints for readings of (s, °C)."""
    command = ["cargo", "run", "--quiet", "-p", "halfshaft-driveline", "--example", "thermal-series"]
    text = "".join(f"{seconds:.3f} {celsius:.3f}\n" for seconds, celsius in readings)
    done = subprocess.run(command, input=text, capture_output=True, text=True, cwd=ROOT, timeout=600, check=False)
    expect(done.returncode == 0, f"the example ended with {done.returncode}: {done.stderr.strip()}")
    return strict_json(done.stdout)


class Drive:
    """The loads of the example."""

    def __init__(self, told):
        self.step_s = told["step_s"]
        self.air_c = told["air_c"]
        self.pack_w = np.array(told["pack_w"])
        self.axle_w = np.array(told["axle_w"])
        self.case = np.array(told["case_rad_per_s"])
        self.flow = (np.abs(np.array(told["road_m_per_s"])) / 30) ** 0.7
        self.ends = self.step_s * np.arange(1, len(self.pack_w) + 1)
        edges = [
            np.flatnonzero(np.diff(load)) + 1 for load in (self.pack_w, self.axle_w, self.case, self.flow)
        ]
        self.edges = np.unique(np.concatenate([[0], *edges, [len(self.pack_w)]]))

    def rates(self, time, state, index, parameters, air_c):
        cp, co, ch, gpo, goh, g0, g1, share, churn = parameters
        pack, oil, housing = state
        gear_w = share * abs(self.axle_w[index]) + churn * self.case[index] ** 2
        return [
            (self.pack_w[index] - gpo * (pack - oil)) / cp,
            (gpo * (pack - oil) + gear_w - goh * (oil - housing)) / co,
            (goh * (oil - housing) - (g0 + g1 * self.flow[index]) * (housing - air_c)) / ch,
        ]

    def by_solve_ivp(self, parameters, start_c):
        """Temperatures at the end of every step, one integration for each stretch of equal load."""
        state, ends = np.array(start_c, dtype=float), []
        for first, past in zip(self.edges[:-1], self.edges[1:]):
            times = self.step_s * np.arange(first, past + 1)
            done = solve_ivp(
                self.rates, (times[0], times[-1]), state, t_eval=times[1:], args=(first, parameters, self.air_c),
                method="DOP853", rtol=1e-8, atol=1e-8,
            )
            expect(done.success, done.message)
            ends.append(done.y.T)
            state = done.y[:, -1]
        return np.vstack(ends)

    def by_exponential(self, parameters, start_c, air_offset_k):
        """The same from the eigenvectors of each step's matrix: quick enough for a fit."""
        cp, co, ch, gpo, goh, g0, g1, share, churn = parameters
        n, h = len(self.pack_w), self.step_s
        air = g0 + g1 * self.flow
        matrix = np.zeros((n, 3, 3))
        matrix[:, 0, 0], matrix[:, 0, 1] = -gpo / cp, gpo / cp
        matrix[:, 1, 0], matrix[:, 1, 1], matrix[:, 1, 2] = gpo / co, -(gpo + goh) / co, goh / co
        matrix[:, 2, 1], matrix[:, 2, 2] = goh / ch, -(goh + air) / ch
        gear = share * np.abs(self.axle_w) + churn * self.case**2
        right = np.stack([self.pack_w / cp, gear / co, air * (self.air_c + air_offset_k) / ch], axis=1)
        levels = np.linalg.solve(matrix, -right[:, :, None])[:, :, 0]
        values, vectors = np.linalg.eig(matrix)
        steps = np.real(vectors * np.exp(values * h)[:, None, :] @ np.linalg.inv(vectors))
        state, ends = np.array(start_c, dtype=float), np.empty((n, 3))
        for index in range(n):
            state = levels[index] + steps[index] @ (state - levels[index])
            ends[index] = state
        return ends


def readings_of(drive, ends, start_oil_c):
    """Readings once a second: noise, then steps of 1 °C."""
    noise = np.random.default_rng(20240607)
    times = np.arange(0.0, drive.ends[-1], 1.0)
    oil = np.interp(times, np.concatenate([[0.0], drive.ends]), np.concatenate([[start_oil_c], ends[:, 1]]))
    return list(zip(times, np.round(oil + SENSOR_NOISE_K * noise.standard_normal(len(times)))))


def the_trace_by_solve_ivp():
    told = example([])
    drive = Drive(told)
    pack_over, housing = told["start_c"][1], told["start_c"][2]
    oil = told["start_c"][0]
    ends = drive.by_solve_ivp(np.array(told["parameters"]), [oil + pack_over, oil, housing])
    at = np.rint(np.array(told["trace_s"]) / drive.step_s).astype(int) - 1
    expect(len(at) > 100, "the trace has points")
    worst = 0.0
    for name, node in (("trace_oil_c", 1), ("trace_housing_c", 2)):
        worst = max(worst, np.abs(np.array(told[name]) - ends[at, node]).max())
    expect(worst < TRACE_TOLERANCE_K, f"oil and housing are {worst:.4f} K apart")
    most = ends[:, 0].max()
    expect(abs(told["pack_max_c"] - most) < TRACE_TOLERANCE_K, f"hottest pack {told['pack_max_c']}, {most} by scipy")
    return f"{len(at)} points within {worst:.5f} K, hottest pack {most:.2f} °C, {abs(told['pack_max_c'] - most):.5f} K apart"


def the_fit_by_least_squares():
    told = example([])
    drive = Drive(told)
    defaults, sds = np.array(told["parameters"]), np.array(told["relative_sds"])
    start_oil = told["start_c"][0]
    truth = drive.by_solve_ivp(defaults * TRUE_FACTORS, [start_oil, start_oil, start_oil - 4.0])
    readings = readings_of(drive, truth, start_oil)
    told = example(readings)
    expect(told["is_fitted"], "the program fitted the readings")
    times = np.array([seconds for seconds, _ in readings])
    celsius = np.array([reading for _, reading in readings])
    first_c, above = celsius[0], celsius[0] - drive.air_c

    # The program's unknowns: nine logarithms, sensor, air, start of oil, pack and housing.
    def model(z):
        parameters = defaults * np.exp(sds * z[:N_PARAMETERS])
        sensor_s = max(2.3 * np.exp(z[9]) - 0.3, 0.0)
        oil = first_c + 1.5 * z[11]
        housing = oil - 0.15 * above + (2.0 + 0.15 * above) * z[13]
        start = [oil + 5.0 * z[12], oil, housing]
        ends = drive.by_exponential(parameters, start, 2.0 * z[10])
        oils = np.concatenate([[oil], ends[:, 1]])
        shown = np.empty_like(oils)
        shown[0] = oils[0]
        kept = np.exp(-drive.step_s / sensor_s) if sensor_s > 0 else 0.0
        for index in range(1, len(oils)):
            behind = (oils[index] - oils[index - 1]) / drive.step_s * sensor_s
            shown[index] = oils[index] - behind + (shown[index - 1] - oils[index - 1] + behind) * kept
        return np.interp(times, np.concatenate([[0.0], drive.ends]), shown), max(start[0], ends[:, 0].max())

    sd = np.sqrt(1 / 12 + SENSOR_NOISE_K**2)
    done = least_squares(
        lambda z: np.concatenate([(celsius - model(z)[0]) / sd, z]), np.zeros(14), bounds=(-3, 3), diff_step=1e-3,
        xtol=1e-6,
    )
    expect(done.success, done.message)
    mine = defaults * np.exp(sds * done.x[:N_PARAMETERS])
    theirs, their_sds = np.array(told["fitted"][:N_PARAMETERS]), np.array(told["fitted_sd"][:N_PARAMETERS])
    apart = np.abs(theirs - mine) / their_sds
    expect(apart.max() < FIT_TOLERANCE_SDS, f"parameters are {apart.round(2)} standard deviations apart: {theirs} {mine}")
    pack = model(done.x)[1]
    expect(
        abs(told["fitted_pack_max_c"] - pack) < PACK_TOLERANCE_K,
        f"hottest pack {told['fitted_pack_max_c']:.2f} by the program, {pack:.2f} by scipy",
    )
    true_pack = truth[:, 0].max()
    expect(abs(told["fitted_pack_max_c"] - true_pack) < 5, f"true pack {true_pack:.2f}")
    return (
        f"hottest pack {told['fitted_pack_max_c']:.2f} by the program, {pack:.2f} by scipy, {true_pack:.2f} in truth; "
        f"parameters at most {apart.max():.2f} standard deviations apart"
    )


if __name__ == "__main__":
    run([the_trace_by_solve_ivp, the_fit_by_least_squares])
