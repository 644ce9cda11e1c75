"""Captures put together and taken apart block by block after IETF draft-ietf-opsawg-pcapng, for the tests.

Slow and plain on purpose; shares no code with the package.
"""

from __future__ import annotations

import struct
import warnings
from pathlib import Path

import pcapng
from frame_rows import Row
from pcapng.blocks import EnhancedPacket, InterfaceDescription

SECTION, INTERFACE, PACKET, STATISTICS = 0x0A0D0D0A, 1, 6, 5


def option(code: int, value: bytes, order: str) -> bytes:
    return struct.pack(order + "HH", code, len(value)) + value + bytes(-len(value) % 4)


def block(kind: int, body: bytes, order: str) -> bytes:
    body += bytes(-len(body) % 4)
    return struct.pack(order + "II", kind, len(body) + 12) + body + struct.pack(order + "I", len(body) + 12)


def section(order: str) -> bytes:
    return block(SECTION, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, 0, -1), order)


def interface(link: int, order: str, name: bytes = b"can0", resolution: int = 9) -> bytes:
    options = option(2, name, order) + option(9, bytes((resolution,)), order)
    return block(INTERFACE, struct.pack(order + "HHI", link, 0, 0) + options, order)


def packet(number: int, ticks: int, payload: bytes, order: str, options: bytes = b"") -> bytes:
    head = struct.pack(order + "IIIII", number, ticks >> 32, ticks & 0xFFFFFFFF, len(payload), len(payload))
    return block(PACKET, head + payload + bytes(-len(payload) % 4) + options, order)


def can_payload(can_id: int, flags: int, data: bytes, length: int | None = None, pad: int = 0) -> bytes:
    """`flags` as words.frames.FrameFlag; layout of LINKTYPE_CAN_SOCKETCAN, link-type registry at tcpdump.org."""
    wire_id = can_id | (flags & 1) << 31 | (flags & 2) << 29 | (flags & 4) << 27
    fd = (4 if flags & 8 else 0) | (1 if flags & 16 else 0) | (2 if flags & 32 else 0)
    return (
        struct.pack(">IBBBB", wire_id, len(data) if length is None else length, fd, 0, flags >> 8) + data + bytes(pad)
    )


def read_independently(path: Path) -> list[Row]:
    """The frames as python-pcapng (a general-purpose reader) finds them; the bus is the interface's number among buses."""
    rows: list[Row] = []
    buses: dict[int, int] = {}
    with warnings.catch_warnings(), path.open("rb") as file:
        warnings.simplefilter("ignore", DeprecationWarning)  # its own, of options without a type
        for item in pcapng.FileScanner(file):
            if isinstance(item, InterfaceDescription) and item.link_type == 227:
                buses[item.interface_id] = len(buses)
            if not isinstance(item, EnhancedPacket) or item.interface_id not in buses:
                continue
            wire_id, length, fd, _, code = struct.unpack(">IBBBB", item.packet_data[:8])
            flags = (wire_id >> 31) | (wire_id >> 29 & 2) | (wire_id >> 27 & 4)
            flags |= (8 if fd & 4 else 0) | (16 if fd & 1 else 0) | (32 if fd & 2 else 0) | code << 8
            if "epb_flags" in item.options and item.options["epb_flags"].inout == "outbound":
                flags |= 64
            stamp = item.timestamp_high << 32 | item.timestamp_low
            data = b"" if flags & 2 else item.packet_data[8 : 8 + length]
            rows.append((stamp, buses[item.interface_id], wire_id & 0x1FFFFFFF, flags, data))
    return rows
