"""What a section of a capture says of its interfaces: their stamps, what is on them, and what was dropped of them."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.interface_block import Interface, options_of, parse_interface, positive
from benchcheck.capture.packet_runs import Packets
from benchcheck.capture.recording import LineInfo, Recording
from benchcheck.words.recorder_gap import RecorderGap


class Section:
    """The interfaces of one section; buses and lines are those of the recording, which has them in common for all.

    order  "<" or ">", the byte order
    """

    def __init__(self, recording: Recording, order: str) -> None:
        self._recording = recording
        self._order = order
        self.interfaces: list[Interface] = []
        self._bus_index = np.zeros(0, np.uint16)
        self._is_bus = np.zeros(1, np.bool_)
        self._is_simple = True

    def add(self, body: bytes) -> None:
        """An interface description block. Raises struct.error where it is too short, and ImpossibleStamps."""
        interface = parse_interface(body, self._order, len(self.interfaces))
        if interface.link == form.LINK_CAN:
            interface.index = self._recording.bus_index(interface.name)
            bus = self._recording.buses[interface.index]
            bus.bitrate = interface.speed or bus.bitrate
            bus.data_bitrate = positive(interface.words.get("data_bitrate", "")) or bus.data_bitrate
        elif interface.link == form.LINK_SERIAL:
            interface.index = _line_index(self._recording.lines, interface.name)
            line = self._recording.lines[interface.index]
            line.protocol = interface.words.get("protocol", "") or line.protocol
            line.baud = interface.speed or line.baud
        self.interfaces.append(interface)
        self._bus_index = np.array([each.index for each in self.interfaces], np.uint16)
        self._is_bus = np.array([each.link == form.LINK_CAN for each in self.interfaces] + [False])
        self._is_simple = all(each.in_nanoseconds for each in self.interfaces)

    def end(self) -> None:
        """Add what was dropped to the recording's count."""
        for interface in self.interfaces:
            self._recording.dropped_frames += max(interface.dropped, interface.dropped_between)

    @property
    def stamps_are_nanoseconds(self) -> bool:
        return self._is_simple

    def is_bus(self, number: int) -> bool:
        return number < len(self.interfaces) and self.interfaces[number].link == form.LINK_CAN

    def of_buses(self, numbers: NDArray[np.uint32]) -> NDArray[np.bool_]:
        """Which of these interface numbers are of buses."""
        found: NDArray[np.bool_] = self._is_bus[np.minimum(numbers, len(self.interfaces))]
        return found

    def bus_of(self, numbers: NDArray[np.uint32]) -> NDArray[np.uint16]:
        """The recording's buses of interfaces that are all of buses."""
        return self._bus_index[numbers]

    def stamps(self, packets: Packets) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Nanoseconds, and which of them are sound; see Interface."""
        numbers = packets.rows[:, 2]
        stamps = packets.rows[:, 3].astype(np.uint64) << np.uint64(32) | packets.rows[:, 4]
        times, sane = np.zeros(len(packets), np.int64), np.zeros(len(packets), np.bool_)
        for number in np.unique(numbers).tolist():
            which = numbers == number
            times[which], sane[which] = self.interfaces[number].times_ns(stamps[which])
        return times, sane

    def statistics(self, body: bytes) -> bool:
        """An interface statistics block; False for an interface that is not there. Raises struct.error.

        What was dropped since the block before it, and stands in no `gap` mark, was dropped between the two.
        """
        number, high, low = struct.unpack_from(self._order + "III", body)
        if number >= len(self.interfaces):
            return False
        interface = self.interfaces[number]
        dropped = sum(
            struct.unpack(self._order + "Q", value)[0]
            for code, value in options_of(body[12:], self._order)
            if code in (form.ISB_IFDROP, form.ISB_OSDROP) and len(value) == 8
        )
        end_ns = interface.time_ns((high << 32) | low)
        grown = dropped - interface.dropped
        if grown > interface.dropped_in_marks:
            self._dropped_between(interface, interface.counted_ns, end_ns, grown - interface.dropped_in_marks)
        interface.dropped = max(interface.dropped, dropped)
        interface.dropped_in_marks = max(0, interface.dropped_in_marks - max(0, grown))
        interface.counted_ns = end_ns
        return True

    def _dropped_between(self, interface: Interface, start_ns: int | None, end_ns: int, count: int) -> None:
        first_ns = self._recording.first_ns
        start = start_ns if start_ns is not None else first_ns if first_ns is not None else end_ns
        why = f"{count:,} frame{'s' if count != 1 else ''} were dropped between two counts"
        bus = interface.name if interface.link == form.LINK_CAN else ""
        line = interface.name if interface.link == form.LINK_SERIAL else ""
        if start < end_ns and (bus or line):
            self._recording.recorder_gaps.append(RecorderGap(start, end_ns, why, bus, line, count))

    def note_dropped(self, gap: RecorderGap) -> None:
        """A mark says where frames were dropped: the next statistics count them once more."""
        for interface in self.interfaces:
            names = {form.LINK_CAN: gap.bus, form.LINK_SERIAL: gap.line}
            if gap.dropped and interface.name == names.get(interface.link):
                interface.dropped_in_marks += gap.dropped

    def is_sent(self, number: int, options: bytes) -> bool:
        """Whether a packet's options say that it was sent; what they say of dropped ones before it is counted."""
        sent = False
        for code, value in options_of(options, self._order):
            if code == form.EPB_FLAGS and len(value) == 4:
                sent = struct.unpack(self._order + "I", value)[0] & 3 == form.EPB_OUTBOUND
            elif code == form.EPB_DROPCOUNT and len(value) == 8:
                self.interfaces[number].dropped_between += struct.unpack(self._order + "Q", value)[0]
        return sent


def _line_index(lines: list[LineInfo], name: str) -> int:
    for index, line in enumerate(lines):
        if line.name == name:
            return index
    lines.append(LineInfo(name))
    return len(lines) - 1
