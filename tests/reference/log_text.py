"""Log text: what python-can writes the program reads, and what the program writes python-can reads.

python-can takes a line for an error frame only when bit 0x80 (bus error) of its identifier is
set besides 0x20000000. The kernel has a bit for each class of error, and the program takes any of them
(source: Linux can/error.h). The last check states that difference.
"""

import pathlib
import random

import can
from can.io import CanutilsLogReader, CanutilsLogWriter

from common import decode, expect, folder, make_demo, report, run

N_MESSAGES = 6000
STEP_US = 700
FD_LENGTHS = [0, 1, 7, 8, 12, 16, 20, 24, 32, 48, 64]


def random_messages(chance):
    """Messages of every kind, on two buses: classic, FD, remote, error; 11 and 29 bits."""
    ids = [(chance.randrange(0x800), False) for _ in range(12)] + [(chance.randrange(2**29), True) for _ in range(12)]
    # The same number in both lengths is two identifiers.
    ids += [(0x123, False), (0x123, True), (0, False), (0, True), (0x7FF, False), (0x1FFF_FFFF, True)]
    messages = []
    for index in range(N_MESSAGES):
        number, is_extended = chance.choice(ids)
        kind = chance.choices(["classic", "fd", "remote", "error"], [60, 30, 5, 5])[0]
        length = chance.choice(FD_LENGTHS) if kind == "fd" else chance.randint(0, 8)
        messages.append(
            can.Message(
                timestamp=1_000 + index * STEP_US / 1e6,
                arbitration_id=0 if kind == "error" else number,
                is_extended_id=is_extended,
                is_remote_frame=kind == "remote",
                is_error_frame=kind == "error",
                is_fd=kind == "fd",
                bitrate_switch=kind == "fd" and chance.random() < 0.5,
                error_state_indicator=kind == "fd" and chance.random() < 0.5,
                is_rx=chance.random() < 0.8,
                channel=chance.choice(["can0", "vcan1"]),
                dlc=length,
                data=None if kind in ("remote", "error") else chance.randbytes(length),
            )
        )
    return messages


def name_of(message):
    """An identifier as the map writes it."""
    return f"0x{message.arbitration_id:0{8 if message.is_extended_id else 3}X}"


def byte_channel(bus, identifier, byte):
    """Name of the channel that carries one byte."""
    return f"own.{bus}.{identifier}.b{byte}"


def bytes_map(messages):
    """A map whose channels are the single bytes of every identifier on every bus."""
    lines = ['map "bytes"']
    for bus in ("can0", "vcan1"):
        lines += [f"bus {bus}", f'  in the log "{bus}"']
    data = [message for message in messages if not message.is_remote_frame and not message.is_error_frame]
    for bus, identifier in sorted({(message.channel, name_of(message)) for message in data}):
        lines += [f"frame {identifier} on {bus}", "  length 64 bytes"]
        for byte in range(64):
            lines += [f"  {byte_channel(bus, identifier, byte)} in byte {byte}", "    unit none"]
    return "\n".join(lines) + "\n"


def messages_the_library_wrote():
    chance = random.Random(20260315)
    messages = random_messages(chance)
    with folder() as place:
        log, map_file = pathlib.Path(place, "written.log"), pathlib.Path(place, "bytes.map")
        with CanutilsLogWriter(str(log)) as writer:
            for message in messages:
                writer.on_message_received(message)
        map_file.write_text(bytes_map(messages), encoding="ascii")
        said = report(log, map_file)
        channels = decode(log, map_file)
    (entry,) = said["inputs"]
    expect(entry["entries"] == len(messages), f"{entry['entries']} entries, python-can wrote {len(messages)}")
    expect(entry["lines_skipped"] == 0, f"{entry['lines_skipped']} lines were skipped")
    notices = {notice["code"]: notice["count"] for notice in said["notices"]}
    n_remote = sum(message.is_remote_frame for message in messages)
    n_error = sum(message.is_error_frame for message in messages)
    expect(notices.get("remote-frame") == n_remote, f"{notices.get('remote-frame')} remote requests, not {n_remote}")
    expect(notices.get("error-frame") == n_error, f"{notices.get('error-frame')} error frames, not {n_error}")

    ours = {(name, time_ns): value for name, samples in channels.items() for time_ns, value in samples}
    n_bytes = 0
    for index, message in enumerate(messages):
        if message.is_remote_frame or message.is_error_frame:
            continue
        for byte in range(64):
            key = (byte_channel(message.channel, name_of(message), byte), index * STEP_US * 1000)
            wanted = message.data[byte] if byte < len(message.data) else None
            got = ours.pop(key, None)
            expect(got == wanted, f"byte {byte} of message {index} ({message}): {got}, not {wanted}")
            n_bytes += wanted is not None
    expect(not ours, f"samples of messages that python-can did not write: {next(iter(ours), None)}")
    n_fd = sum(message.is_fd for message in messages)
    return (
        f"{len(messages)} messages ({n_fd} FD, {n_remote} remote, {n_error} error) read with the same count, "
        f"identifier, bus, time and all {n_bytes} bytes; 0 differences"
    )


def demo_log_the_program_wrote():
    with folder() as place:
        log, map_file, said = make_demo(place)
        with CanutilsLogReader(str(log)) as reader:
            messages = list(reader)
        channels = decode(log, map_file)
    (entry,) = said["inputs"]
    expect(len(messages) == entry["entries"], f"python-can reads {len(messages)} messages, report.json says {entry['entries']}")
    kinds = [message for message in messages if message.is_error_frame or message.is_remote_frame or message.is_fd]
    expect(not kinds, f"the demo writes data frames of up to 8 bytes; python-can reads {len(kinds)} others")
    # The map: frame 0x1B0, bytes 0 1 and 2 3, 0.01 km/h a step, rolling radius 0.32 m.
    wheels = [message for message in messages if message.arbitration_id == 0x1B0 and not message.is_extended_id]
    worst = 0.0
    for name, first in (("wheel.rear.left", 0), ("wheel.rear.right", 2)):
        samples = channels[name]
        expect(len(samples) == len(wheels), f"{name}: {len(samples)} samples, python-can reads {len(wheels)} frames")
        for (time_ns, value), message in zip(samples, wheels):
            raw = int.from_bytes(message.data[first : first + 2], "big")
            expect(abs(time_ns / 1e9 - (message.timestamp - messages[0].timestamp)) < 1e-6, f"{name}: time of {message}")
            expect(raw < 0xFFFE and value is not None, f"{name}: {value} from {message}")
            worst = max(worst, abs(value - raw * 0.01 / 3.6 / 0.32))
    expect(worst < 1e-9, f"wheel speeds differ by {worst} rad/s")
    return (
        f"{len(messages)} messages of the demo, as many as report.json says; {2 * len(wheels)} wheel speeds from "
        f"python-can's bytes agree, worst difference {worst:.1e} rad/s"
    )


def error_frames_the_library_misses():
    classes = [1 << bit for bit in range(10)]
    lines = [f"({1 + index / 10:.6f}) can0 {0x2000_0000 | error:08X}#0000000000000000\n" for index, error in enumerate(classes)]
    lines.append("(3.000000) can0 123#01\n")
    with folder() as place:
        log, map_file = pathlib.Path(place, "errors.log"), pathlib.Path(place, "one.map")
        log.write_text("".join(lines), encoding="ascii")
        map_file.write_text('map "one"\nframe 0x123\n  own.a in byte 0\n    unit none\n', encoding="ascii")
        said = report(log, map_file)
        with CanutilsLogReader(str(log)) as reader:
            messages = list(reader)
    ours = sum(notice["count"] for notice in said["notices"] if notice["code"] == "error-frame")
    theirs = sum(message.is_error_frame for message in messages)
    expect(said["inputs"][0]["entries"] == len(messages) == len(lines), f"{said['inputs'][0]['entries']} entries, {len(messages)} messages")
    expect((ours, theirs) == (len(classes), 1), f"the program counts {ours} error frames, python-can {theirs}")
    return (
        f"of {len(classes)} error classes the program counts {ours}, python-can {theirs} "
        "(it takes only identifiers with bit 0x80 for errors); both read every line"
    )


if __name__ == "__main__":
    run([messages_the_library_wrote, demo_log_the_program_wrote, error_frames_the_library_misses])
