"""A CAN frame bit by bit, the plain way: the whole list of bits as a controller would send it.

Slow and obvious on purpose: it is what the vectorised count is held against, and is itself held against published
frames in test_plain_bits.py. Shares no code with the package.
"""

from __future__ import annotations

from dataclasses import dataclass

FD_LENGTHS = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64]
GRAY_WITH_PARITY = ["0000", "0011", "0110", "0101", "1100", "1111", "1010", "1001"]


def number(value: int, width: int) -> list[int]:
    return [(value >> place) & 1 for place in range(width - 1, -1, -1)]


def crc(bits: list[int], width: int, polynomial: int, start: int = 0) -> int:
    register = start
    top = 1 << (width - 1)
    for bit in bits:
        turn = bit ^ (1 if register & top else 0)
        register = (register << 1) & ((1 << width) - 1)
        if turn:
            register ^= polynomial
    return register


def crc15(bits: list[int]) -> int:
    return crc(bits, 15, 0x4599)


def stuff(bits: list[int]) -> tuple[list[int], list[int]]:
    """The bits with stuff bits put in at once after five equal ones, and the places where they stand."""
    out: list[int] = []
    places: list[int] = []
    run = 0
    for bit in bits:
        run = run + 1 if out and out[-1] == bit else 1
        out.append(bit)
        if run == 5:
            places.append(len(out))
            out.append(1 - bit)
            run = 1
    return out, places


@dataclass
class PlainFrame:
    """bits: the whole frame with 3 bits of intermission; stuffed: SOF to the end of the CRC sequence as sent."""

    bits: list[int]
    stuffed: list[int]
    crc: int
    fast_bits: int = 0  # bits at the data rate
    dynamic: int = 0  # dynamic stuff bits
    count_field: str = ""

    @property
    def stuffed_text(self) -> str:
        return "".join(map(str, self.stuffed))


def classic(
    can_id: int, data: bytes = b"", *, extended: bool = False, remote: bool = False, dlc: int | None = None
) -> PlainFrame:
    code = len(data) if dlc is None else dlc
    rtr = [1 if remote else 0]
    if extended:
        body = [0, *number(can_id >> 18, 11), 1, 1, *number(can_id & 0x3FFFF, 18), *rtr, 0, 0, *number(code, 4)]
    else:
        body = [0, *number(can_id, 11), *rtr, 0, 0, *number(code, 4)]
    if not remote:
        for byte in data:
            body += number(byte, 8)
    check = crc15(body)
    stuffed, _ = stuff(body + number(check, 15))
    tail = [1] + [1, 1] + [1] * 7 + [1] * 3  # CRC delimiter, ACK slot and delimiter, end of frame, intermission
    return PlainFrame(stuffed + tail, stuffed, check)


def fd(can_id: int, data: bytes = b"", *, extended: bool = False, brs: bool = False, esi: bool = False) -> PlainFrame:
    code = next(k for k, size in enumerate(FD_LENGTHS) if size >= len(data))
    size = FD_LENGTHS[code]
    data = data.ljust(size, b"\0")
    switch = [1 if brs else 0]
    if extended:
        to_brs = [0, *number(can_id >> 18, 11), 1, 1, *number(can_id & 0x3FFFF, 18), 0, 1, 0, *switch]
    else:
        to_brs = [0, *number(can_id, 11), 0, 0, 1, 0, *switch]
    body = [*to_brs, 1 if esi else 0, *number(code, 4)]
    for byte in data:
        body += number(byte, 8)
    stuffed, places = stuff(body)
    if places and places[-1] == len(stuffed) - 1:  # due after the very last data bit: the fixed stuff bit stands there
        stuffed.pop()
        places.pop()
    # where the BRS bit stands among the stuffed bits
    seen = 0
    for place, _ in enumerate(stuffed):
        if place in places:
            continue
        seen += 1
        if seen == len(to_brs):
            brs_place = place
            break
    count_field = GRAY_WITH_PARITY[len(places) % 8]
    covered = stuffed + [int(c) for c in count_field]
    width, polynomial = (17, 0x1685B) if size <= 16 else (21, 0x102899)
    check = crc(covered, width, polynomial, 1 << (width - 1))
    field = [int(c) for c in count_field] + number(check, width)
    out = list(stuffed)
    for k, bit in enumerate(field):
        if k % 4 == 0:
            out.append(1 - out[-1])  # fixed stuff bit
        out.append(bit)
    bits = [*out, 1, 1, 1, *[1] * 7, *[1] * 3]
    fast = len(out) + 1 - (brs_place + 1) if brs else 0  # after BRS, through the CRC delimiter
    return PlainFrame(bits, out, check, fast, len(places), count_field)
