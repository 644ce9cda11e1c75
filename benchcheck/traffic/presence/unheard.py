"""When nobody could be heard on a bus, and whose doing that was: the bus's own silence, or the recorder's."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.traffic.presence.quiet_times import QuietTimes, gap_words, recorded_at, recorded_not
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.longest_gaps import Gap
from benchcheck.words.recorder_gap import RecorderGap


class Unheard:
    """For a listening to one bus that ended at `end_ns`.

    silences            of the whole bus; what is one only because nothing was recorded is left out, and is the recorder's
    silent              these, on the recorded clock
    quiet               these and the gaps of the recorder
    tail_ns             from the last frame of the bus to the end
    unrecorded_tail_ns  how much of that the recorder missed
    """

    def __init__(self, tally: BusTally, end_ns: int, recorder_gaps: Sequence[RecorderGap]) -> None:
        self._tally = tally
        self._end_ns = end_ns
        self.recorder_gaps = recorder_gaps
        self._recorded_not = recorded_not(recorder_gaps)
        self.tail_ns = max(0, end_ns - tally.last_ns)
        self.unrecorded_tail_ns = self.unrecorded_ns(tally.last_ns, tally.last_ns + self.tail_ns)
        self._least_ns = tally.silence_threshold_ns()
        self._unrecorded = QuietTimes(tally, recorder_gaps, silences=())
        self.silences = [gap for gap in tally.silences() if self.recorded_ns(gap) >= self._least_ns]
        self.silent = QuietTimes(tally, silences=self.silences)
        self.quiet = QuietTimes(tally, recorder_gaps)

    def recorded_ns(self, gap: Gap) -> int:
        """How much of a gap lies in no gap of the recorder."""
        return gap.length_ns - self._unrecorded.overlap(gap.recorded_ns, gap.length_ns)

    def own_ns(self, gap: Gap) -> int:
        """How much of a gap lies in no silence of the bus, whatever was recorded."""
        return gap.length_ns - self.silent.overlap(gap.recorded_ns, gap.length_ns)

    def charged_ns(self, gap: Gap) -> int:
        """How much of a gap lies in neither a silence of the bus nor a gap of the recorder."""
        return gap.length_ns - self.quiet.overlap(gap.recorded_ns, gap.length_ns)

    def listened_ns(self, power_on_ns: int, boot_ns: int, start_ns: int) -> int:
        """How long somebody who began to boot at `power_on_ns` could have been heard, silences and all, from `start_ns` to
        the end. What the recorder's clock stepped by is no time; below 0 where it is too short to tell."""
        tally = self._tally
        if not tally.clock_steps:
            return self._end_ns - max(power_on_ns + boot_ns, start_ns)
        began_ns = recorded_at(tally, power_on_ns)
        if began_ns is None:
            return -boot_ns
        return tally.recorded_ns + self.tail_ns - max(began_ns + boot_ns, start_ns - tally.first_ns)

    def total_ns(self) -> int:
        """How long nobody was heard, the end included."""
        return self.quiet.total_ns + (self.tail_ns if self.is_silent_to_the_end() else self.unrecorded_tail_ns)

    def missed_ns(self) -> int:
        """How much of that is the recorder's, and no silence of the bus."""
        return self.unrecorded_tail_ns + self.quiet.total_ns - self.silent.total_ns

    def is_silent_to_the_end(self) -> bool:
        return self.tail_ns >= self._least_ns

    def unrecorded_ns(self, start_ns: int, end_ns: int) -> int:
        """How much the recorder missed from `start_ns` to `end_ns`."""
        return self._recorded_not.within(start_ns, end_ns)

    def is_dropped(self, gap: Gap) -> bool:
        """Whether frames are known to have been dropped while a gap lasted."""
        end_ns = gap.start_ns + gap.length_ns
        return any(
            each.dropped and each.start_ns < end_ns and each.end_ns > gap.start_ns for each in self.recorder_gaps
        )

    def words(self, start_ns: int, end_ns: int) -> str:
        """What is to be said of what the recorder missed from `start_ns` to `end_ns`."""
        return gap_words(self.recorder_gaps, start_ns, end_ns)
