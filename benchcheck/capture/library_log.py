"""What the logs that come through python-can have in common: a message becomes a row of a batch, or is bad."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.capture.recording import BATCH_FRAMES, FrameRows, Recording, is_sane_stamp, is_sound
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameFlag

if TYPE_CHECKING:
    from can import Message


class LibraryLog(Recording):
    """What the logs that come through python-can's Message have in common."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        self.rows = FrameRows()
        self._bus_of: dict[str, int] = {}
        self._fd_left_out = 0

    def close(self) -> None:
        """Files are open only while they are iterated."""

    def take(self, message: Message, start_ns: int = 0, channel_from: int = 0) -> None:
        """Keep the frame of a message, or count it as bad. `channel_from` is what the library took off the number."""
        flags = FrameFlag.EXTENDED.value if message.is_extended_id else 0
        flags |= FrameFlag.REMOTE.value if message.is_remote_frame else 0
        flags |= FrameFlag.ERROR.value if message.is_error_frame else 0
        flags |= FrameFlag.FD.value if message.is_fd else 0
        flags |= FrameFlag.BRS.value if message.is_fd and message.bitrate_switch else 0
        flags |= FrameFlag.ESI.value if message.is_fd and message.error_state_indicator else 0
        flags |= 0 if message.is_rx else FrameFlag.SENT.value
        data = bytes(message.data) if message.data is not None and not message.is_remote_frame else b""
        length, raw_code = self.length_of(message)
        if len(data) > 8 and not message.is_fd:
            length, raw_code = len(data), 0  # no classic frame, whatever its length code says
        if raw_code:
            flags |= raw_code << RAW_DLC_SHIFT
            data = data[:8]
        if message.is_error_frame:
            data = data[:8]
            length = len(data)
        channel = message.channel
        name = "bus" if channel is None else str(channel + channel_from if isinstance(channel, int) else channel)
        self.add(message.timestamp, start_ns, name, message.arbitration_id, flags, length, data)

    def add(self, stamp: float, start_ns: int, name: str, can_id: int, flags: int, length: int, data: bytes) -> None:
        time_ns = start_ns + nanoseconds(stamp) if math.isfinite(stamp) and abs(stamp) < 1e10 else 1 << 63
        if not is_sane_stamp(time_ns) or not is_sound(can_id, flags, length, len(data)):
            self.bad_records += 1
            self._fd_left_out += not flags & (FrameFlag.FD | FrameFlag.ERROR) and 8 < len(data) <= 64
            return
        bus = self._bus_of.get(name)
        if bus is None:
            bus = self._bus_of[name] = self.bus_index(name)
        self.rows.add(time_ns, bus, can_id & 0x1FFF_FFFF, flags, length, data)

    def no_channel(self) -> None:
        """Note what a form without channels can't tell."""
        self.notes.append(
            "this form does not say on which bus a frame was: several buses can't be told apart in it, and count as one"
        )

    def no_fd(self) -> None:
        """Note at the end how many frames a form without FD frames seems to hold all the same."""
        if self._fd_left_out:
            records = "1 record has" if self._fd_left_out == 1 else f"{self._fd_left_out:,} records have"
            self.notes.append(
                f"{records} more than 8 bytes of data: FD frames, whose bits on the wire this form does not tell"
            )

    def length_of(self, message: Message) -> tuple[int, int]:
        """(data bytes, length code as sent where a classic frame has one above 8, else 0)."""
        length = message.dlc
        if message.is_fd or message.is_error_frame or not 9 <= length <= 15:
            return length, 0
        return 8, length

    def full(self) -> bool:
        return len(self.rows) >= BATCH_FRAMES


def nanoseconds(stamp: float) -> int:
    """A float of seconds as integer nanoseconds: to the microsecond where a float of that size can't hold more."""
    return round(stamp * 1e9) if abs(stamp) < 1e6 else round(stamp * 1e6) * 1000
