"""Parquet exports, read by pyarrow, pandas, polars and DuckDB.

Values are held against `halfshaft decode` and the report of the same drive, the grid against an
interpolation by numpy, and the snippets of docs/export.md are run as they stand there.
"""

import contextlib
import io
import math
import os
import pathlib
import re

import duckdb
import numpy
import pandas
import polars
import pyarrow
import pyarrow.parquet

from common import PROGRAM, ROOT, decode, expect, folder, halfshaft, make_demo, on, run

RATE_HZ = 50
TABLES = ["samples", "events", "figures", "findings", "laps", "corners", "gaps", "bench_cycle", "responses"]
# Both interpolate in 64-bit floats; only the order of the operations may differ.
RELATIVE_TOLERANCE = 1e-12


class Drive:
    """A demo drive with its report, exported at native times and on a grid."""

    def __init__(self, place):
        self.place = pathlib.Path(place)
        self.log, self.map, self.report = make_demo(self.place)
        for to, more in (("native", []), ("grid", ["--rate", RATE_HZ])):
            halfshaft("export", self.log, "--map", self.map, "--to", self.place / to, *more)

    def file(self, name, to="native"):
        return self.place / to / f"{name}.parquet"

    def table(self, name, to="native"):
        return pyarrow.parquet.read_table(self.file(name, to))

    def keys(self, name, to="native"):
        """Metadata of a file; the program's own keys only."""
        metadata = pyarrow.parquet.ParquetFile(self.file(name, to)).metadata.metadata
        return {key.decode(): value.decode() for key, value in metadata.items() if key.startswith(b"halfshaft.")}

    def channel(self, name):
        """Samples of one channel at native times: list of (time in ns, value or None)."""
        table = self.table("samples")
        chosen = table.filter(pyarrow.compute.equal(table["channel"].cast("string"), name))
        return list(zip(chosen["time_ns"].to_pylist(), chosen["value"].to_pylist()))


def samples_equal_what_decode_prints(drive):
    decoded = decode(drive.log, drive.map)
    n_values = n_missing = 0
    for name in decoded:
        exported = drive.channel(name)
        expect(exported == decoded[name], f"{name}: {len(exported)} samples exported, {len(decoded[name])} decoded differ")
        n_values += len(exported)
        n_missing += sum(value is None for _, value in exported)
    expect(len(decoded) >= 10 and n_missing > 0, f"{len(decoded)} channels with {n_missing} nulls show too little")
    return f"{n_values} samples of {len(decoded)} channels are equal to the last bit, {n_missing} of them null in both"


def missing_stays_null(drive):
    log = drive.place / "missing.log"
    map_file = drive.place / "missing.map"
    map_file.write_text(
        'map "m"\nvehicle "v"\nbus main\n  in the log "can0"\nframe 0x100 on main\n  length 2 bytes\n'
        "  every 20 ms\n  own.level in bytes 0 1\n    step 0.01 m\n    absent 0xFFFF\n",
        encoding="ascii",
    )
    values = [1, 2, None, 4, None, None, 7]
    lines = [
        f"({index * 0.02:.6f}) can0 100#{0xFFFF if value is None else value:04X}\n" for index, value in enumerate(values)
    ]
    log.write_text("".join(lines), encoding="ascii")
    halfshaft("export", log, "--map", map_file, "--to", drive.place / "missing")
    table = pyarrow.parquet.read_table(drive.place / "missing" / "samples.parquet")
    exported = table["value"].to_pylist()
    wanted = [None if value is None else value / 100 for value in values]
    is_equal = len(exported) == len(wanted) and all(
        one is None and other is None or one is not None and other is not None and math.isclose(one, other)
        for one, other in zip(exported, wanted)
    )
    expect(is_equal, f"exported {exported}, wanted {wanted}")
    expect(table["value"].null_count == 3, "three samples are null")
    return f"{len(values)} samples, {table['value'].null_count} null"


def tables_equal_the_report(drive):
    events = drive.table("events").to_pylist()
    of_report = drive.report["events"]
    expect(len(events) == len(of_report) > 10, f"{len(events)} events, {len(of_report)} in the report")
    for event, wanted in zip(events, of_report):
        for key, value in event.items():
            expect(value == wanted[key], f"event at {wanted['start_s']} s: {key} is {value}, not {wanted[key]}")
    figures = {figure.pop("name"): figure for figure in drive.table("figures").to_pylist()}
    expect(list(figures) == list(drive.report["figures"]), f"figures are {list(figures)}")
    for name, figure in figures.items():
        for key, value in figure.items():
            wanted = drive.report["figures"][name][key]
            expect(value == wanted, f"{name}: {key} is {value}, not {wanted}")
    gaps = drive.table("gaps").to_pylist()
    wanted = drive.report["quality"]["gaps"]
    same = [(gap["channel"], gap["start_ns"], gap["end_ns"]) for gap in gaps]
    expect(same == [(gap["channel"], gap["start_ns"], gap["end_ns"]) for gap in wanted], "gaps differ")
    return f"{len(events)} events, {len(figures)} figures and {len(gaps)} gaps are equal to report.json"


def units_and_provenance_are_there(drive):
    known = {
        ("events", "heat_kj"): "kJ",
        ("events", "start_ns"): "ns",
        ("corners", "turned_deg"): "deg",
        ("samples", "time_ns"): "ns",
    }
    n_columns = 0
    for to in ("native", "grid"):
        for name in TABLES:
            schema = pyarrow.parquet.read_schema(drive.file(name, to))
            for field in schema:
                n_columns += 1
                notes = field.metadata or {}
                expect(b"unit" in notes and notes.get(b"meaning"), f"{name}.{field.name} has only {notes}")
                wanted = known.get((name, field.name))
                expect(wanted in (None, notes[b"unit"].decode()), f"{name}.{field.name}: {notes}")
            keys = drive.keys(name, to)
            report = drive.report
            for key, value in {
                "program": report["tool_version"],
                "map.title": report["map"]["title"],
                "map.fingerprint": report["map"]["fingerprint"],
                "vehicle": report["map"]["vehicle"],
                "inputs": " ".join(given["fingerprint"] for given in report["inputs"]),
                "clock.kind": report["clock"]["kind"],
                "clock.origin_ns": str(report["clock"]["first_ns"]),
            }.items():
                expect(keys[f"halfshaft.{key}"] == value, f"{name}: {key} is {keys[f'halfshaft.{key}']}, not {value}")
            form = "samples-grid" if (name, to) == ("samples", "grid") else name.replace("_", "-")
            expect(keys["halfshaft.schema"] == f"halfshaft-{form}/1", f"{name}: {keys['halfshaft.schema']}")
    samples = drive.table("samples")
    units = set(zip(samples["channel"].to_pylist(), samples["unit"].to_pylist()))
    expect(len(units) == len(dict(units)), "a channel has two units")
    expect({("wheel.rear.left", "rad/s"), ("pack.heat_rate", "W")} <= units, f"units are {sorted(units)}")
    grid = pyarrow.parquet.read_schema(drive.file("samples", "grid"))
    for channel, unit in units:
        on_grid = grid.field(channel).metadata[b"unit"].decode()
        expect(on_grid == unit, f"{channel} is in {unit} and on the grid in {on_grid}")
    return f"{n_columns} columns have unit and meaning, {2 * len(TABLES)} files the facts of the run"


def times_of_each_channel_rise(drive):
    samples = drive.table("samples").to_pandas()
    for name, times in samples.groupby("channel", observed=True)["time_ns"]:
        expect(times.is_monotonic_increasing, f"{name} runs backwards")
    groups = pyarrow.parquet.ParquetFile(drive.file("samples")).metadata
    sizes = [groups.row_group(index).num_rows for index in range(groups.num_row_groups)]
    expect(max(sizes) <= 131_072 and len(sizes) > 1, f"row groups of {sizes}")
    codec = groups.row_group(0).column(0).compression
    expect(codec == "ZSTD", f"compressed with {codec}")
    return f"{len(samples)} rows in {len(sizes)} row groups of at most {max(sizes)}, zstd"


def the_grid_is_an_interpolation_of_the_samples(drive):
    grid = drive.table("samples", "grid")
    times = numpy.array(grid["time_ns"].to_pylist())
    expect((numpy.diff(times) == 10**9 // RATE_HZ).all() and times[0] == 0, "the grid is regular from 0")
    worst, n_compared = 0.0, 0
    for name in ["wheel.rear.left", "wheel.rear.right", "axle.speed_difference", "oil.temperature", "clutch.command"]:
        is_held = grid.schema.field(name).metadata[b"between_samples"] == b"held"
        native = [(time, value) for time, value in drive.channel(name) if value is not None]
        at = numpy.array([time for time, _ in native])
        values = numpy.array([value for _, value in native])
        exported = grid[name].to_pandas().to_numpy(dtype=float)
        known = ~numpy.isnan(exported)
        before = numpy.searchsorted(at, times[known], side="right") - 1
        expect((before >= 0).all(), f"{name} has values before its first sample")
        if is_held:
            wanted = values[before]
        else:
            after = numpy.minimum(before + 1, len(at) - 1)
            length = numpy.where(after > before, at[after] - at[before], 1)
            wanted = values[before] + (times[known] - at[before]) / length * (values[after] - values[before])
        difference = numpy.abs(exported[known] - wanted) / numpy.maximum(numpy.abs(wanted), 1)
        worst = max(worst, float(difference.max()))
        n_compared += int(known.sum())
        expect(known.mean() > 0.9, f"{name} is known in {known.mean():.0%} of the rows only")
    expect(worst <= RELATIVE_TOLERANCE, f"worst difference {worst}")
    return f"{n_compared} values on a grid of {RATE_HZ} Hz agree with numpy, worst difference {worst:.1e}"


def snippets(language):
    page = (ROOT / "docs" / "export.md").read_text(encoding="utf-8")
    return re.findall(rf"```{language}\n(.*?)```", page, re.DOTALL)


def run_snippet(text, place):
    """Runs Python as the page has it, with `out` a folder of the drive; gives what it printed."""
    printed = io.StringIO()
    before = pathlib.Path.cwd()
    link = place.parent / "out"
    link.unlink(missing_ok=True)
    link.symlink_to(place)
    try:
        os.chdir(place.parent)
        with contextlib.redirect_stdout(printed):
            exec(compile(text, "docs/export.md", "exec"), {})
    finally:
        os.chdir(before)
        link.unlink()
    return printed.getvalue()


def heat_per_event_as_the_page_does_it(drive):
    (snippet,) = (text for text in snippets("python") if "import pandas" in text)
    lines = run_snippet(snippet, drive.place / "native").splitlines()
    events = drive.report["events"]
    expect(len(lines) == len(events), f"{len(lines)} lines for {len(events)} events")
    total = reported = 0.0
    for line in lines:
        _, _, heat, summed = line.split(" ")
        total, reported = total + float(summed), reported + float(heat)
    # The rate is a mean over 0.2 s with the noise around zero slip left out; heat is not.
    expect(abs(total - reported) < 0.1 * reported, f"summed {total:.1f} kJ, reported {reported:.1f} kJ")
    return f"{len(lines)} events in pandas {pandas.__version__}: {reported:.1f} kJ reported, {total:.1f} kJ summed from the rate"


def time_above_1_kw_as_the_page_does_it(drive):
    (snippet,) = (text for text in snippets("python") if "import polars" in text)
    said = float(run_snippet(snippet, drive.place / "grid").split(" ")[0])
    rates = drive.table("samples", "grid")["pack.heat_rate"].to_pylist()
    wanted = sum(rate is not None and rate > 1000 for rate in rates) / RATE_HZ
    expect(said == wanted > 0, f"{said} s, wanted {wanted} s")
    native = [(time, value) for time, value in drive.channel("pack.heat_rate")]
    at_native = sum(
        min(after[0] - here[0], 250_000_000) / 1e9
        for here, after in zip(native, native[1:])
        if here[1] is not None and here[1] > 1000
    )
    expect(abs(said - at_native) < 0.05 * at_native, f"{said} s on the grid, {at_native} s at native times")
    return f"{said} s in polars {polars.__version__}, {at_native:.2f} s at native times"


def slip_histogram_as_the_page_does_it(drive):
    (snippet,) = snippets("sql")
    rows = duckdb.sql(snippet.replace("'out/", f"'{drive.place}/native/")).fetchall()
    native = drive.channel("pack.slip")
    wanted = {}
    for here, after in zip(native, native[1:]):
        if here[1] is not None:
            step = math.floor(abs(here[1]))
            wanted[step] = wanted.get(step, 0) + min(after[0] - here[0], 250_000_000) / 1e9
    found = {int(step): seconds for step, seconds in rows if seconds is not None}
    expect(set(found) == set(wanted) and len(found) > 5, f"steps {sorted(found)}, wanted {sorted(wanted)}")
    for step, seconds in wanted.items():
        expect(math.isclose(found[step], seconds, rel_tol=1e-9), f"from {step}: {found[step]} s, not {seconds} s")
    keys = duckdb.sql(f"SELECT * FROM parquet_kv_metadata('{drive.place}/native/samples.parquet')").fetchall()
    expect(any(row[1] == b"halfshaft.vehicle" for row in keys), "DuckDB does not see the keys of the file")
    return f"{len(found)} steps of slip over {sum(found.values()):.0f} s in DuckDB {duckdb.__version__}"


if __name__ == "__main__":
    expect(PROGRAM.is_file(), f"{PROGRAM} is not built")
    with folder() as place:
        drive = Drive(place)

        run(
            [
                on(drive, check)
                for check in [
                    samples_equal_what_decode_prints,
                    missing_stays_null,
                    tables_equal_the_report,
                    units_and_provenance_are_there,
                    times_of_each_channel_rise,
                    the_grid_is_an_interpolation_of_the_samples,
                    heat_per_event_as_the_page_does_it,
                    time_above_1_kw_as_the_page_does_it,
                    slip_histogram_as_the_page_does_it,
                ]
            ]
        )
