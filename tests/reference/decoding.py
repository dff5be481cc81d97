"""Bits to values: random maps and frames, decoded by the program and by cantools.

cantools gets its messages built in code, the program gets a map text that says the same. The
bits are translated here by hand: cantools names a number by its start bit, the map writes
out every run of bits.
"""

import math
import pathlib
import random

from cantools.database.can import Message, Signal
from cantools.database.conversion import BaseConversion

from common import Disagreement, decode, expect, folder, run

N_MAPS = 60
N_FRAMES = 60
STEP_NS = 10_000_000
# Both compute raw * scale + offset in 64-bit floats; only the order may differ.
RELATIVE_TOLERANCE = 1e-12
SCALES = [1, 2, 10, 0.5, 0.25, 0.1, 0.01, 0.005, 0.001, 0.0039, 1.5, -1, -0.01, 3.0517578125e-05]
OFFSETS = [0, 0, 1, -1, 40, -40, -100, 0.5, -67.67, 1000, 273.15]


def bits_of(start, length, is_big_endian):
    """Bits of a number, most significant first, as (byte, bit)."""
    if is_big_endian:
        # The start is the most significant bit; after bit 0 comes bit 7 of the next byte.
        byte, bit = divmod(start, 8)
        place = 8 * byte + 7 - bit
        return [(at // 8, 7 - at % 8) for at in range(place, place + length)]
    return [divmod(at, 8) for at in range(start + length - 1, start - 1, -1)]


def written(bits):
    """Bits as the map writes them: runs inside one byte, `1.3..1.0`, or `1.3` for one bit."""
    runs = []
    for byte, bit in bits:
        if runs and runs[-1][0] == byte and runs[-1][2] == bit + 1:
            runs[-1][2] = bit
        else:
            runs.append([byte, bit, bit])
    return " ".join(f"{byte}.{high}" if high == low else f"{byte}.{high}..{byte}.{low}" for byte, high, low in runs)


def random_signal(chance, name, n_bytes, taken, **multiplexing):
    """A signal on free bits: what cantools gets and the lines the map gets; None when none fit."""
    for _ in range(40):
        is_float = chance.random() < 0.15
        length = chance.choice([32, 64]) if is_float else chance.choice([1, 2, 3, 8, 16, 32, 64, chance.randint(1, 64)])
        is_big_endian = chance.random() < 0.5
        start = chance.randrange(8 * n_bytes)
        bits = bits_of(start, length, is_big_endian)
        is_inside = all(0 <= byte < n_bytes for byte, _ in bits)
        if is_inside and not taken & set(bits):
            break
    else:
        return None
    taken |= set(bits)
    is_signed = not is_float and length > 1 and chance.random() < 0.5
    scale, offset = chance.choice(SCALES), chance.choice(OFFSETS)
    signal = Signal(
        name,
        start,
        length,
        byte_order="big_endian" if is_big_endian else "little_endian",
        is_signed=is_signed,
        conversion=BaseConversion.factory(scale=scale, offset=offset, is_float=is_float),
        **multiplexing,
    )
    lines = [f"{name} in {written(bits)}", f"  step {scale!r} none"]
    if offset:
        lines.append(f"  zero at {offset!r} none")
    if is_float:
        lines.append("  float")
    elif is_signed:
        lines.append("  signed")
    return signal, lines


def random_message(chance, number, used):
    """A message: what cantools gets, the lines the map gets and its page signal, if any."""
    is_extended = chance.random() < 0.4
    while (frame_id := chance.randrange(0x2000_0000 if is_extended else 0x800), is_extended) in used:
        pass
    used.add((frame_id, is_extended))
    n_bytes = chance.choice([1, 2, 3, 5, 6, 7, 8, 8, 8, 8, 12, 24, 64])
    taken, signals = set(), []
    lines = [f"frame 0x{frame_id:0{8 if is_extended else 3}X}", f"  length {n_bytes} bytes"]
    is_paged = n_bytes >= 3 and chance.random() < 0.3
    names = (f"own.m{number}_s{index}" for index in range(1000))
    if is_paged:
        length, is_big_endian = chance.randint(2, 6), chance.random() < 0.5
        start = chance.choice([0, 8]) + (7 if is_big_endian else 0)
        page_bits = bits_of(start, length, is_big_endian)
        taken |= set(page_bits)
        order = "big_endian" if is_big_endian else "little_endian"
        signals.append(Signal("page", start, length, byte_order=order, is_multiplexer=True))
        for page in chance.sample(range(2**length), chance.randint(2, 4)):
            lines.append(f"  page {written(page_bits)} is {page}")
            taken_on_page = set(taken)
            for _ in range(chance.randint(1, 3)):
                made = random_signal(
                    chance, next(names), n_bytes, taken_on_page, multiplexer_ids=[page], multiplexer_signal="page"
                )
                if made:
                    signals.append(made[0])
                    lines += ["    " + line for line in made[1]]
            if lines[-1].startswith("  page"):
                lines.pop()
    else:
        for _ in range(chance.randint(1, 6)):
            made = random_signal(chance, next(names), n_bytes, taken)
            if made:
                signals.append(made[0])
                lines += ["  " + line for line in made[1]]
    message = Message(
        frame_id, f"m{number}", n_bytes, signals, is_extended_frame=is_extended, is_fd=n_bytes > 8, strict=True
    )
    return message, lines


def random_log(chance, messages):
    """Frames of the messages, some cut short: (message, payload) and the log text."""
    frames, text = [], []
    for index in range(N_FRAMES):
        message = chance.choice(messages)
        payload = chance.choice([chance.randbytes(message.length), bytes(message.length), b"\xff" * message.length])
        if chance.random() < 0.1:
            payload = payload[: chance.randrange(message.length + 1)]
        frames.append((message, payload))
        digits = f"{message.frame_id:0{8 if message.is_extended_frame else 3}X}"
        marks = "##0" if message.is_fd else "#"
        time_ns = 1_000_000_000 + index * STEP_NS
        text.append(f"({time_ns // 10**9}.{time_ns % 10**9:09}) can0 {digits}{marks}{payload.hex().upper()}\n")
    return frames, "".join(text)


def reference_values(message, payload):
    """What cantools reads from a payload: name -> value; None where it is no finite number."""
    page = message.get_signal_by_name("page") if message.is_multiplexed() else None
    if page is not None:
        at = bits_of(page.start, page.length, page.byte_order == "big_endian")
        if any(byte >= len(payload) for byte, _ in at):
            return {}
        number = 0
        for byte, bit in at:
            number = 2 * number + (payload[byte] >> bit & 1)
        if number not in page_numbers(message):
            return {}
    values = message.decode(payload, decode_choices=False, allow_truncated=True)
    values.pop("page", None)
    return {name: value if math.isfinite(value) else None for name, value in values.items()}


def page_numbers(message):
    """Page numbers that the message describes."""
    return {number for signal in message.signals for number in signal.multiplexer_ids or []}


def compare(frames, channels):
    """Holds every value against cantools: how many of each kind, and the worst difference."""
    ours = {(name, time_ns): value for name, samples in channels.items() for time_ns, value in samples}
    expect(len(ours) == sum(map(len, channels.values())), "a channel has two samples at one time")
    n_values = n_missing = 0
    worst = 0.0
    for index, (message, payload) in enumerate(frames):
        values = reference_values(message, payload)
        for signal in message.signals:
            if signal.name == "page":
                continue
            mine = ours.pop((signal.name, index * STEP_NS), None)
            theirs = values.get(signal.name)
            place = f"{signal} in payload {payload.hex()} of {message.length} bytes, scale {signal.scale}, offset {signal.offset}"
            if theirs is None:
                n_missing += 1
                expect(mine is None, f"{place}: the program says {mine}, cantools has no value")
                continue
            expect(mine is not None, f"{place}: the program has no value, cantools says {theirs}")
            size = abs(theirs - signal.offset) + abs(signal.offset)
            difference = abs(mine - theirs) / size if size else abs(mine)
            worst = max(worst, difference)
            expect(difference <= RELATIVE_TOLERANCE, f"{place}: the program says {mine!r}, cantools says {theirs!r}")
            n_values += 1
    expect(not ours, f"the program has {len(ours)} samples more than there were frames, first {next(iter(ours), None)}")
    return n_values, n_missing, worst


def random_maps_and_frames():
    chance = random.Random(20260314)
    totals = {"maps": 0, "signals": 0, "values": 0, "missing": 0, "paged": 0, "long": 0}
    worst = 0.0
    with folder() as place:
        place = pathlib.Path(place)
        for number in range(N_MAPS):
            used, messages, lines = set(), [], ['map "random"']
            for index in range(chance.randint(1, 4)):
                message, described = random_message(chance, index, used)
                if message.signals and len(message.signals) > message.is_multiplexed():
                    messages.append(message)
                    lines += described
            if not messages:
                continue
            frames, log_text = random_log(chance, messages)
            map_text = "\n".join(lines) + "\n"
            log, map_file = place / f"{number}.log", place / f"{number}.map"
            log.write_text(log_text, encoding="ascii")
            map_file.write_text(map_text, encoding="ascii")
            try:
                n_values, n_missing, difference = compare(frames, decode(log, map_file))
            except Disagreement as found:
                raise Disagreement(f"map {number}: {found}\n{map_text}") from None
            worst = max(worst, difference)
            totals["maps"] += 1
            totals["signals"] += sum(signal.name != "page" for message in messages for signal in message.signals)
            totals["values"] += n_values
            totals["missing"] += n_missing
            totals["paged"] += sum(message.is_multiplexed() for message in messages)
            totals["long"] += sum(message.is_fd for message in messages)
    expect(totals["maps"] >= 40 and totals["paged"] >= 10 and totals["long"] >= 10, f"too little was compared: {totals}")
    return (
        f"{totals['values']} values of {totals['signals']} signals in {totals['maps']} maps agree with cantools "
        f"({totals['paged']} paged frames, {totals['long']} of more than 8 bytes), worst relative difference {worst:.1e}; "
        f"{totals['missing']} are missing in both"
    )


if __name__ == "__main__":
    run([random_maps_and_frames])
