"""Every report.json against docs/report-schema.json, by jsonschema.

Whole drives and damaged logs alike must give a report that validates, holds no NaN, and names
every figure with its value and band or with the reason why there is none.
"""

import gzip
import json
import pathlib
import random
import subprocess

import jsonschema

from common import PROGRAM, ROOT, Disagreement, expect, folder, halfshaft, make_demo, report, run, strict_json

FIGURES = [
    "duration",
    "moving_time",
    "distance",
    "turn_total",
    "slip_peak",
    "partial_by_command",
    "partial_heat_making",
    "engagements",
    "heat_total",
    "heat_peak",
    "heat_per_km",
    "oil_temp_max",
    "tyre_ratio",
    "heat_per_degree",
    "heat_preload",
    "heat_commanded",
    "heat_mismatch",
    "heat_spin",
    "specific_energy_max",
    "specific_power_max",
]
FIGURE_KEYS = {"value", "unit", "low", "high", "grade", "method", "why_null"}


def validator():
    """The validator of the published schema, which must be a sound schema itself."""
    schema = json.loads((ROOT / "docs" / "report-schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def look_at(said, name):
    """Holds a report against the schema and the list of figures; gives how many have a value."""
    mistakes = [f"{mistake.json_path}: {mistake.message}" for mistake in validator().iter_errors(said)]
    expect(not mistakes, f"{name}: {len(mistakes)} mistakes against the schema, first {mistakes[:3]}")
    missing = set(FIGURES) - set(said["figures"])
    expect(not missing, f"{name}: no figure {', '.join(sorted(missing))}")
    for finding in said["findings"]:
        windows = [(window["start_ns"], window["end_ns"]) for window in finding["evidence"]]
        expect(all(start <= end <= said["until_ns"] for start, end in windows), f"{name}: {finding['id']} points outside")
        expect(all(finding[key] for key in ("summary", "could_also_be", "next_check")), f"{name}: {finding['id']} is bare")
    silent = {item["id"] for item in said["not_checked"]} & {item["id"] for item in said["findings"]}
    expect(not silent, f"{name}: {silent} found and not checked at once")
    n_values = 0
    for title, figure in said["figures"].items():
        place = f"{name}: figure {title}"
        expect(FIGURE_KEYS <= set(figure), f"{place} has only {sorted(figure)}")
        expect(bool(figure["unit"]), f"{place} has no unit")
        if figure["value"] is None:
            expect(bool(figure["why_null"]), f"{place} is null without a reason")
            continue
        n_values += 1
        expect(bool(figure["method"]), f"{place} has no method")
        is_inside = figure["low"] is not None and figure["low"] <= figure["value"] <= figure["high"]
        expect(is_inside, f"{place}: {figure['value']} is not from {figure['low']} to {figure['high']}")
    return n_values


def samples():
    """The sample logs and the map they are read by."""
    logs = sorted((ROOT / "sample-logs").glob("*.log*"))
    expect(bool(logs), "there are no sample logs")
    return logs, ROOT / "signal-maps" / "brindlecote-30.map"


def sample_logs():
    logs, map_file = samples()
    counts = []
    for log in logs:
        with folder() as place:
            printed = halfshaft("report", log, "--map", map_file, "--json")
            halfshaft("report", log, "--map", map_file, "--out", place)
            written = pathlib.Path(place, "report.json").read_text(encoding="utf-8")
        expect(printed == written, f"{log.name}: `--json` and report.json differ")
        counts.append(f"{log.name} {look_at(strict_json(written), log.name)} of {len(FIGURES)} figures")
    return "; ".join(counts)


def damaged_logs():
    chance = random.Random(20260316)
    counts = []
    with folder() as place:
        place = pathlib.Path(place)
        whole, map_file, _ = make_demo(place, "mismatched-tyres")
        lines = whole.read_bytes().splitlines(keepends=True)[:40_000]
        thinned = [line for line in lines if chance.random() < 0.3]
        noisy = [chance.randbytes(30) + b"\n" if chance.random() < 0.2 else line for line in lines]
        one_second_gone = lines[:10_000] + lines[11_000:]
        damaged = {
            "cut in a line.log": b"".join(lines)[:-7],
            "frames lost.log": b"".join(thinned),
            "noise between.log": b"".join(noisy),
            "a hole.log": b"".join(one_second_gone),
            "out of order.log": b"".join(lines[20_000:30_000] + lines[:20_000]),
            "one wheel frame.log": next(line for line in lines if b" 1B0#" in line),
            "cut.log.gz": gzip.compress(b"".join(lines))[:-1000],
        }
        for name, content in damaged.items():
            log = place / name
            log.write_bytes(content)
            said = report(log, map_file)
            n_values = look_at(said, name)
            n_notices = sum(notice["count"] for notice in said["notices"])
            is_seen = n_notices > 0 or said["quality"]["n_gaps"] > 0 or name == "one wheel frame.log"
            expect(is_seen or said["inputs"][0]["trouble"], f"{name}: the damage is not told")
            counts.append(f"{name[: name.index('.')]}: {n_values} figures, {n_notices} notices")
    return f"{len(damaged)} damaged logs: {'; '.join(counts)}"


def logs_that_give_no_report():
    _, map_file = samples()
    with folder() as place:
        nothing = {"empty.log": b"", "not a log.log": b"hello\n" * 100, "another car.log": b"(1.0) can0 7EE#00\n" * 9}
        for name, content in nothing.items():
            log = pathlib.Path(place, name)
            log.write_bytes(content)
            command = [str(PROGRAM), "report", str(log), "--map", str(map_file), "--out", str(pathlib.Path(place, "out"))]
            done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
            expect(done.returncode == 2, f"{name}: ended with {done.returncode}, not 2")
            expect(done.stderr.startswith("halfshaft: ") and "panic" not in done.stderr, f"{name}: said {done.stderr!r}")
            expect(not pathlib.Path(place, "out").exists(), f"{name}: left a report behind")
    return f"{len(nothing)} logs with nothing in them end with 2, a message and no report"


def changed_reports_that_the_schema_must_refuse():
    logs, map_file = samples()
    said = report(logs[0], map_file)

    def without_reason(changed):
        changed["figures"]["heat_total"]["value"] = None

    def text_for_number(changed):
        changed["until_s"] = "603"

    def no_figures(changed):
        del changed["figures"]["heat_total"]

    def unknown_key(changed):
        changed["surprise"] = 1

    def class_without_reason(changed):
        changed["class"]["level"] = None
        changed["class"]["why_null"] = None

    def other_severity(changed):
        window = {"start_ns": 0, "end_ns": 1, "start_s": 0.0, "end_s": 1e-9, "values": []}
        changed["findings"] = [
            {
                "id": "x",
                "title": "x",
                "severity": "urgent",
                "grade": "A",
                "summary": "x",
                "evidence": [window],
                "could_also_be": "x",
                "next_check": "x",
                "withdrawn_if": "x",
            }
        ]

    changes = (without_reason, text_for_number, no_figures, unknown_key, class_without_reason, other_severity)
    for change in changes:
        changed = json.loads(json.dumps(said))
        change(changed)
        try:
            look_at(changed, "changed")
        except Disagreement:
            continue
        raise Disagreement(f"a report with `{change.__name__}` passed")
    try:
        strict_json('{"value": NaN}')
    except Disagreement:
        return f"{len(changes)} wrong reports and a NaN are refused"
    raise Disagreement("NaN passed")


if __name__ == "__main__":
    run([sample_logs, damaged_logs, logs_that_give_no_report, changed_reports_that_the_schema_must_refuse])
