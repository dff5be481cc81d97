"""Segments: what the recorder keeps python-pcapng reads, and what python-pcapng writes the program reads.

The example `keep-log` of the capture crate, which `cargo test` builds, keeps a log as the recorder
keeps its frames: segments of 100 kB, ten frames told as lost before the hundredth, and a mark there.
"""

import pathlib
import random
import struct
import subprocess
import zlib

import pcapng
from can.io import CanutilsLogWriter
from pcapng import blocks

from common import PROGRAM, Skipped, decode, expect, folder, report, run
from log_text import random_messages

EXAMPLE = PROGRAM.parent / "examples" / "keep-log"
EXTENDED, REMOTE = 0x8000_0000, 0x4000_0000
CAN_SOCKETCAN = 227
# The library leaves this kind of block as it stands.
JOURNAL = 9


def keep(log, into):
    """Keeps a log and gives its segments."""
    if not EXAMPLE.exists():
        raise Skipped(f"{EXAMPLE.name} is not built (cargo build -p halfshaft-capture --examples)")
    subprocess.run([EXAMPLE, log, into], check=True, timeout=300)
    return sorted((into / "drive-0001").glob("*.pcapng"))


def packet_of(message):
    """The packet that a message is: header and payload."""
    word = message.arbitration_id
    if message.is_extended_id:
        word |= EXTENDED
    if message.is_remote_frame:
        word |= REMOTE
    flags = 0
    if message.is_fd:
        flags = 4 | message.bitrate_switch | message.error_state_indicator << 1
    payload = b"" if message.is_remote_frame else bytes(message.data)
    # python-can writes no length of a remote request into its log.
    length = 0 if message.is_remote_frame else message.dlc
    return struct.pack(">IBBxx", word, length, flags) + payload


def what_the_recorder_keeps_the_library_reads():
    messages = random_messages(random.Random(20260918))
    messages = [message for message in messages if not message.is_error_frame]
    with folder() as place:
        log, into = pathlib.Path(place, "written.log"), pathlib.Path(place, "into")
        with CanutilsLogWriter(str(log)) as writer:
            for message in messages:
                writer.on_message_received(message)
        segments = keep(log, into)
        wanted = iter(messages)
        n_packets = n_dropped = n_marks = n_received = n_lost = 0
        for segment in segments:
            with segment.open("rb") as stream:
                last = {}
                for block in pcapng.FileScanner(stream):
                    if isinstance(block, blocks.SectionHeader):
                        application = block.options["shb_userappl"]
                        expect(application.startswith("halfshaft "), f"written by {application}")
                    elif isinstance(block, blocks.InterfaceDescription):
                        expect(block.link_type == CAN_SOCKETCAN, f"link type {block.link_type}")
                    elif isinstance(block, blocks.EnhancedPacket):
                        message = next(wanted)
                        expect(block.packet_data == packet_of(message), f"packet {n_packets}: {message}")
                        name = block.interface.options["if_name"]
                        expect(name == message.channel, f"packet {n_packets} is of {name}, not {message.channel}")
                        off = abs(float(block.timestamp) - message.timestamp)
                        expect(off < 1e-6, f"packet {n_packets} is {off} s off")
                        digest = bytes([2]) + zlib.crc32(block.packet_data).to_bytes(4, "big")
                        found = block.options.get_raw("epb_hash")
                        expect(bytes(found) == digest, f"packet {n_packets}: checksum {found}")
                        n_dropped += block.options.get("epb_dropcount", 0)
                        n_packets += 1
                    elif isinstance(block, blocks.InterfaceStatistics):
                        last[block.interface_id] = block.options
                    elif isinstance(block, blocks.UnknownBlock) and block.block_type == JOURNAL:
                        n_marks += b"MESSAGE=the hundredth frame\n" in block.data
                n_received += sum(options["isb_ifrecv"] for options in last.values())
                n_lost += sum(options["isb_osdrop"] for options in last.values())
    expect(n_packets == len(messages) == n_received, f"{n_packets} packets, {n_received} told, {len(messages)} messages")
    expect(n_dropped == n_lost == 10, f"{n_dropped} dropped by packets, {n_lost} by statistics, not 10")
    expect(n_marks == 1, f"{n_marks} marks")
    return (
        f"{n_packets} packets in {len(segments)} segments with the same identifier, flags, bus, bytes and checksum; "
        f"{n_lost} told as lost, {n_marks} mark; 0 differences"
    )


def what_the_library_writes_the_program_reads():
    chance = random.Random(20260919)
    packets = [(1_000_000_000_000 + index * 10_000, chance.randbytes(8)) for index in range(3000)]
    for order in ("<", ">"):
        with folder() as place:
            log, map_file = pathlib.Path(place, "written"), pathlib.Path(place, "one.map")
            header = blocks.SectionHeader(endianness=order)
            # Microseconds, as it is where nothing is said.
            options = {"if_name": "can7"}
            interface = header.new_member(blocks.InterfaceDescription, link_type=CAN_SOCKETCAN, options=options)
            with log.open("wb") as stream:
                writer = pcapng.FileWriter(stream, header)
                for us, payload in packets:
                    packet = header.new_member(blocks.EnhancedPacket, interface_id=0)
                    packet.timestamp_high, packet.timestamp_low = us >> 32, us & 0xFFFF_FFFF
                    packet.packet_data = struct.pack(">IBBxx", 0x123, 8, 0) + payload
                    writer.write_block(packet)
            expect(interface.link_type == CAN_SOCKETCAN, "the library keeps the link type")
            map_file.write_text(
                'map "one"\nbus seven\n  in the log "can7"\nframe 0x123 on seven\n  own.a in byte 3\n    unit none\n',
                encoding="ascii",
            )
            said = report(log, map_file)
            channels = decode(log, map_file)
        (entry,) = said["inputs"]
        expect(entry["format"] == "pcapng" and entry["entries"] == len(packets), f"{entry}")
        ours = channels["own.a"]
        theirs = [((us - packets[0][0]) * 1000, float(payload[3])) for us, payload in packets]
        expect(ours == theirs, f"samples differ in byte order {order}")
    return f"{len(packets)} packets in both byte orders read with the same time and bytes; 0 differences"


if __name__ == "__main__":
    run([what_the_recorder_keeps_the_library_reads, what_the_library_writes_the_program_reads])
