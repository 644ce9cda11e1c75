"""How one unit is judged, by the rules that presence.py states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from benchcheck.traffic.presence.senders import Senders, judge_senders
from benchcheck.traffic.presence.unheard import Unheard
from benchcheck.traffic.presence.unit_presence import Pause, PresenceState, UnitExpectation, UnitPresence
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.pieces import SECOND_NS
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.recorder_gap import RecorderGap
from benchcheck.words.verdict import Outcome

INTERMITTENT_PERIODS = 3.5
INTERMITTENT_LEAST_S = 0.25
LOST_PERIODS = 5.0
LOST_LEAST_S = 1.0
MISSING_PERIODS = 2.5
STAMP_SLACK_S = 0.05

_WORST_FIRST = (PresenceState.MISSING, PresenceState.LOST, PresenceState.INTERMITTENT, PresenceState.LATE)


class Expected(NamedTuple):
    """One thing a unit sends: its name, its period, and what was heard of it."""

    name: str
    period_s: float | None
    source: SourceTally | None


@dataclass(frozen=True, slots=True)
class Finding:
    """What one identifier, or the unit as a whole, gives: the worst one is the unit's."""

    verdict: Outcome
    state: PresenceState
    text: str
    pauses: tuple[Pause, ...] = ()


class UnitJudge:
    """The circumstances that are the same for all units of a bus."""

    def __init__(
        self,
        tally: BusTally,
        start_ns: int,
        end_ns: int,
        power_on_ns: int | None,
        dropped: int,
        recorder_gaps: Sequence[RecorderGap],
    ) -> None:
        self.tally = tally
        self.ids = tally.ids
        self.matches = {(entry.unit, entry.match): at for at, entry in enumerate(tally.watch.matches)}
        self.start_ns = start_ns
        self.end_ns = end_ns
        self.power_on_ns = power_on_ns
        self.dropped = dropped
        self.unheard = Unheard(tally, end_ns, recorder_gaps)

    def judge(self, unit: UnitExpectation) -> UnitPresence:
        expected = self.expected(unit)
        heard = [entry.source for entry in expected if entry.source is not None]
        findings = [self._missing(unit, expected), self._late(unit, expected), self._only_talker(unit, expected)]
        excuses: list[str] = []
        for entry in expected:
            if entry.source is None or entry.period_s is None or entry.source.count < 2:
                continue
            findings += [
                self._lost(entry.name, entry.source, entry.period_s),
                self._intermittent(entry.name, entry.source, entry.period_s, excuses),
            ]
        told = [finding for finding in findings if finding is not None]
        told.sort(key=lambda finding: (finding.verdict is not Outcome.FAIL, _rank(finding.state)))
        more = [f"and {len(excuses) - 1} more of the kind"] if len(excuses) > 1 else []
        sound = "; ".join([self._heard_text(unit, heard), *excuses[:1], *more])
        worst = told[0] if told else Finding(Outcome.PASS, PresenceState.PRESENT, sound)
        group = self.tally.groups.get(unit.unit)
        return UnitPresence(
            unit=unit.unit,
            verdict=worst.verdict,
            state=worst.state,
            first_ns=min((source.first_ns for source in heard), default=None),
            last_ns=max((source.last_ns for source in heard), default=None),
            max_gap_ns=None if group is None else group.max_gap_ns,
            text=worst.text,
            boot_ns=None if self._began_unrecorded(expected) else self._boot_ns(heard),
            pauses=tuple(
                sorted((pause for finding in told for pause in finding.pauses), key=lambda pause: pause.start_ns)
            ),
        )

    def expected(self, unit: UnitExpectation) -> list[Expected]:
        """What the unit sends, with what was heard of it."""
        keys = [(IdKey(can_id, extended), period_s) for can_id, extended, period_s in unit.ids]
        found = [Expected(key.text, period_s, self.ids.get(key)) for key, period_s in keys]
        heard = self.tally.matches
        return found + [
            Expected(entry.match.text, entry.period_s, heard[self.matches[(unit.unit, entry.match)]])
            for entry in unit.matches
        ]

    def senders(self, unit: UnitExpectation) -> list[UnitPresence]:
        """An entry for each identifier of the unit that has, or may have, a second sender."""
        found = []
        for can_id, extended, period_s in unit.ids:
            key = IdKey(can_id, extended)
            source = self.ids.get(key)
            if source is None or period_s is None or key in unit.multi_frame:
                continue
            told = judge_senders(source, self.tally.payload(key), _ns(period_s))
            if told.senders in (Senders.TWO, Senders.UNCLEAR):
                found.append(
                    UnitPresence(
                        unit=key.text,
                        verdict=Outcome.FAIL if told.senders is Senders.TWO else Outcome.UNSURE,
                        state=PresenceState.UNEXPECTED,
                        first_ns=source.first_ns,
                        last_ns=source.last_ns,
                        max_gap_ns=source.max_gap_ns,
                        text=f"identifier {key.text} of {unit.unit} {told.text}",
                        owner=unit.unit,
                    )
                )
        return found

    def _absent(self, state: PresenceState, text: str, pauses: tuple[Pause, ...] = ()) -> Finding:
        """Something was not heard: a FAIL, unless the recorder dropped frames, which may have been just those."""
        if self.dropped:
            frames = "1 frame" if self.dropped == 1 else f"{self.dropped} frames"
            return Finding(Outcome.UNSURE, state, f"{text}; but {frames} were dropped by the recorder", pauses)
        return Finding(Outcome.FAIL, state, text, pauses)

    def _missing(self, unit: UnitExpectation, expected: list[Expected]) -> Finding | None:
        silent = [entry for entry in expected if entry.source is None]
        periodic = [(entry.name, entry.period_s) for entry in silent if entry.period_s is not None]
        anything = len(silent) < len(expected)
        if not expected:
            return Finding(Outcome.UNSURE, PresenceState.UNKNOWN, "sends nothing that is known")
        if not periodic:
            text = "not heard, but it sends only on occasion"
            return None if anything else Finding(Outcome.UNSURE, PresenceState.MISSING, text)
        # time to boot counts from power on where that is known, else from the start of listening
        began_ns = self.start_ns if self.power_on_ns is None else self.power_on_ns
        from_ns = max(began_ns + _ns(unit.boot_s), self.start_ns)
        listened_ns = self.unheard.listened_ns(began_ns, _ns(unit.boot_s), self.start_ns) - self.unheard.total_ns()
        head_ns = self.unheard.unrecorded_ns(from_ns, max(from_ns, self.tally.first_ns))
        due = [name for name, period_s in periodic if listened_ns - head_ns >= _ns(MISSING_PERIODS * period_s)]
        if due:
            names = ", ".join(due)
            return self._absent(
                PresenceState.MISSING, f"heard, but never its {names}" if anything else f"never heard ({names})"
            )
        whole_ns = listened_ns + self.unheard.missed_ns()
        names = ", ".join(name for name, period_s in periodic if whole_ns >= _ns(MISSING_PERIODS * period_s))
        if names and self.unheard.recorder_gaps:
            text = f"heard, but not its {names}" if anything else f"not heard ({names})"
            return self._untold(PresenceState.MISSING, text, from_ns, self.end_ns)
        if anything:
            return None
        return Finding(Outcome.UNSURE, PresenceState.MISSING, "not heard, but the time was too short to tell")

    def _untold(self, state: PresenceState, text: str, start_ns: int, end_ns: int) -> Finding:
        """Something was not heard, and a gap of the recorder may be why."""
        return Finding(Outcome.UNSURE, state, f"{text}; but {self.unheard.words(start_ns, end_ns)}")

    def _boot_ns(self, heard: list[SourceTally]) -> int | None:
        if self.power_on_ns is None or not heard:
            return None
        first = min(heard, key=lambda source: source.first_recorded_ns)
        if first.first_segment or first.first_ns < self.power_on_ns:
            return None  # the clock stepped before it was heard, or it had power already: can't tell
        return first.first_ns - self.power_on_ns

    def _late(self, unit: UnitExpectation, expected: list[Expected]) -> Finding | None:
        took_ns = self._boot_ns([entry.source for entry in expected if entry.source is not None])
        if self.power_on_ns is None or took_ns is None:
            return None
        # who begins to listen after the boot time hears a unit up to some periods after that, however early it spoke
        periods = [entry.period_s for entry in expected if entry.period_s is not None]
        limit = self.power_on_ns + _ns(unit.boot_s)
        if self.start_ns > limit:
            if not periods:
                return None
            limit = self.start_ns + _ns(MISSING_PERIODS * min(periods))
        if self.power_on_ns + took_ns <= limit + _ns(STAMP_SLACK_S):
            return None
        text = f"first heard {took_ns / SECOND_NS:.2f} s after power on, {unit.boot_s:g} s is allowed (profile)"
        first_ns = self.power_on_ns + took_ns
        recorded_ns = first_ns - limit - self.unheard.unrecorded_ns(limit, first_ns)
        enough_ns = _ns(MISSING_PERIODS * min(periods)) if periods else 0
        if recorded_ns < first_ns - limit and (not periods or recorded_ns <= enough_ns):
            return self._untold(PresenceState.LATE, text, limit, first_ns)  # it may have spoken in the gap
        return self._absent(PresenceState.LATE, text)

    def _began_unrecorded(self, expected: list[Expected]) -> bool:
        """Whether a gap of the recorder lies where the first frame of a unit may have come unheard."""
        first = min((entry.source.first_ns for entry in expected if entry.source is not None), default=None)
        if first is None or not self.unheard.recorder_gaps:
            return False
        periods = [entry.period_s for entry in expected if entry.period_s is not None]
        from_ns = self.power_on_ns if self.power_on_ns is not None else self.start_ns
        if periods:
            from_ns = max(from_ns, first - _ns(MISSING_PERIODS * min(periods)))
        return self.unheard.unrecorded_ns(from_ns, first) > 0

    def _lost(self, name: str, source: SourceTally, period_s: float) -> Finding | None:
        limit = _ns(max(LOST_PERIODS * period_s, LOST_LEAST_S))
        since = self.tally.recorded_ns - source.last_recorded_ns
        with_bus = since - self.unheard.quiet.overlap(source.last_recorded_ns, since)
        since_s = (since + self.unheard.tail_ns) / SECOND_NS
        if with_bus > limit:
            text = f"{name} not heard in the last {since_s:.2f} s while the bus went on (period {period_s:g} s)"
            pause = Pause(name, source.last_ns, since + self.unheard.tail_ns)
            return self._absent(PresenceState.LOST, text, (pause,))
        own = since - self.unheard.silent.overlap(source.last_recorded_ns, since)
        if own + self.unheard.unrecorded_tail_ns > limit:
            text = f"{name} not heard in the last {since_s:.2f} s"
            return self._untold(PresenceState.PRESENT, text, source.last_ns, self.end_ns)
        if since + self.unheard.tail_ns > limit and self.unheard.is_silent_to_the_end():
            text = f"heard, until the whole bus fell silent {self.unheard.tail_ns / SECOND_NS:.2f} s before the end"
            return Finding(Outcome.UNSURE, PresenceState.PRESENT, text)
        return None

    def _intermittent(self, name: str, source: SourceTally, period_s: float, excuses: list[str]) -> Finding | None:
        """`excuses`: here comes what is not charged because of the recorder."""
        limit = _intermittent_ns(period_s)
        paused = [gap for gap in source.gaps if self.unheard.own_ns(gap) > limit]
        own = [gap for gap in paused if self.unheard.charged_ns(gap) > limit]
        for gap in [] if own else paused:
            end_ns = gap.start_ns + gap.length_ns
            text = f"{name} paused for {gap.length_ns / SECOND_NS:.2f} s"
            if self.unheard.is_dropped(gap):
                return self._untold(PresenceState.INTERMITTENT, text, gap.start_ns, end_ns)
            excuses.append(f"{text}, which is not charged: {self.unheard.words(gap.start_ns, end_ns)}")
        if not own:
            return None
        longest = max(gap.length_ns for gap in own) / SECOND_NS
        count = "1 gap" if len(own) == 1 else f"{len(own)} gaps"
        if source.gap_count > len(source.gaps):
            count = f"at least {count}"
        text = f"{name} comes and goes: {count}, the longest {longest:.2f} s (period {period_s:g} s)"
        pauses = tuple(Pause(name, gap.start_ns, gap.length_ns) for gap in own)
        return self._absent(PresenceState.INTERMITTENT, text, pauses)

    def _only_talker(self, unit: UnitExpectation, expected: list[Expected]) -> Finding | None:
        """The only talker of a bus that paused: its gap and the silence of the bus are the same thing."""
        group = self.tally.groups.get(unit.unit)
        if not self.unheard.silences or group is None or group.count < self.tally.frames:
            return None
        if any(
            entry.period_s is not None
            and entry.source
            and any(self.unheard.recorded_ns(gap) > _intermittent_ns(entry.period_s) for gap in entry.source.gaps)
            for entry in expected
        ):
            text = "heard, but it is the only one on the bus, and the whole bus paused: can't tell which it was"
            return Finding(Outcome.UNSURE, PresenceState.PRESENT, text)
        return None

    def _heard_text(self, unit: UnitExpectation, heard: Sequence[SourceTally]) -> str:
        count = sum(source.count for source in heard)
        text = "heard once" if count == 1 else f"heard, {count} frames"
        for can_id, extended, period_s in unit.ids:
            key = IdKey(can_id, extended)
            source = self.ids.get(key)
            if source is not None and period_s is not None and key not in unit.multi_frame:
                told = judge_senders(source, self.tally.payload(key), _ns(period_s))
                if told.senders is Senders.ONE_FAST:
                    text += f"; {key.text} {told.text}"
        return text


def _rank(state: PresenceState) -> int:
    return _WORST_FIRST.index(state) if state in _WORST_FIRST else len(_WORST_FIRST)


def _intermittent_ns(period_s: float) -> int:
    """How long a gap must be to be one."""
    return _ns(max(INTERMITTENT_PERIODS * period_s, INTERMITTENT_LEAST_S))


def _ns(value_s: float) -> int:
    return round(value_s * SECOND_NS)
