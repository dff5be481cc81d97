"""What the reference checks share: running the program, reading what it prints, saying how it went.

A script lists its checks and calls `run`. A check is a function: it returns a sentence on what
it compared, raises `Disagreement`, or raises `Skipped` with the reason. One line a check is
printed, beginning with `passed`, `failed` or `skipped`; `tests/all` counts those lines.
"""

import csv
import io
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import traceback

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = pathlib.Path(os.environ.get("HALFSHAFT_PROGRAM", ROOT / "target" / "debug" / "halfshaft"))


class Disagreement(Exception):
    """The program and the reference say different things."""


class Skipped(Exception):
    """A check could not be made; its text says why."""


def expect(is_so, message):
    """Raises unless `is_so`; unlike `assert` it cannot be switched off."""
    if not is_so:
        raise Disagreement(message)


def on(subject, check):
    """The check with its subject given, under its own name."""
    def checked():
        return check(subject)

    checked.__name__ = check.__name__
    return checked


def run(checks):
    """Runs the checks and ends the script: 0 when none failed, else 1."""
    name = pathlib.Path(sys.argv[0]).stem
    has_failed = False
    for check in checks:
        title = f"{name}: {check.__name__.replace('_', ' ')}"
        try:
            print(f"passed  {title}: {check()}", flush=True)
        except Skipped as reason:
            print(f"skipped {title}: {reason}", flush=True)
        except Disagreement as difference:
            has_failed = True
            print(f"failed  {title}: {difference}", flush=True)
        except Exception as error:
            has_failed = True
            traceback.print_exc()
            print(f"failed  {title}: {type(error).__name__}: {error}", flush=True)
    sys.exit(1 if has_failed else 0)


def halfshaft(*arguments, wanted_code=0):
    """Runs the program and gives what it printed."""
    command = [str(PROGRAM), *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=300, check=False)
    expect(
        done.returncode == wanted_code,
        f"`halfshaft {' '.join(command[1:])}` ended with {done.returncode}, not {wanted_code}: {done.stderr.strip()}",
    )
    return done.stdout


def folder():
    """A temporary folder that is gone after the `with` block."""
    return tempfile.TemporaryDirectory(prefix="halfshaft-reference-")


def decode(logs, map_file):
    """Channels of logs: name -> list of (time in ns, value or None), in the program's order."""
    logs = [logs] if isinstance(logs, (str, pathlib.Path)) else logs
    channels = {}
    for row in csv.DictReader(io.StringIO(halfshaft("decode", *logs, "--si", "--map", map_file))):
        seconds, _, fraction = row["time_s"].partition(".")
        expect(len(fraction) == 9, f"a time is written with nanoseconds, not {row['time_s']}")
        whole = int(seconds) * 10**9
        time_ns = whole + int(fraction)
        value = float(row["value"]) if row["value"] else None
        channels.setdefault(row["channel"], []).append((time_ns, value))
    return channels


def report(logs, map_file):
    """The report of logs, as parsed JSON that must hold no NaN and no infinity."""
    logs = [logs] if isinstance(logs, (str, pathlib.Path)) else logs
    return strict_json(halfshaft("report", *logs, "--map", map_file, "--json"))


def strict_json(text):
    """Parses JSON; NaN and infinity, which Python would let pass, are a disagreement."""

    def refuse(constant):
        raise Disagreement(f"JSON holds {constant}")

    return json.loads(text, parse_constant=refuse)


def make_demo(place, drive="hard-track-day"):
    """Makes a demo drive in a folder: its log, its map and its report."""
    place = pathlib.Path(place)
    halfshaft("demo", place, "--drive", drive)
    (map_file,) = place.glob("*.map")
    return place / f"{drive}.log", map_file, strict_json((place / "report.json").read_text(encoding="utf-8"))


def chromium():
    """The Chromium of the system, or a skip."""
    program = next(filter(None, map(shutil.which, ["chromium", "chromium-browser"])), None)
    if program is None:
        raise Skipped("no Chromium on this machine")
    return program


def real_logs():
    """The folder of real recordings, or a skip."""
    place = os.environ.get("HALFSHAFT_REAL_LOGS")
    if not place:
        raise Skipped("HALFSHAFT_REAL_LOGS is not set")
    expect(pathlib.Path(place).is_dir(), "HALFSHAFT_REAL_LOGS names no folder")
    return pathlib.Path(place).resolve()
