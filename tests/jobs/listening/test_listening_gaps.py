"""When a bus was not listened to: what is noticed of it, what goes into the capture, and how it is judged, live and again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from model_bench import Counts, Job, job_on, shipped
from replayed import replay, told_again, told_live

from benchcheck.bench.link import Outage as LinkOutage
from benchcheck.capture.logs import open_recording
from benchcheck.capture.recording import Mark
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.jobs.listening.listening_gaps import ListeningGaps
from benchcheck.jobs.playing.replay import Replayed
from benchcheck.simulator.faults import Fault, SilentUnit
from benchcheck.words.frames import FrameBatch
from benchcheck.words.reading import Reading
from benchcheck.words.recorder_gap import RecorderGap
from benchcheck.words.verdict import Outcome

S = 1_000_000_000


def test_an_adapter_that_can_be_read_leaves_no_gap() -> None:
    gaps = ListeningGaps("can1", 0, 7)  # what was dropped before is none of this listening
    assert gaps.drained(S, "listening", 7, S // 2) == []
    assert gaps.judged(2 * S) == []
    assert (gaps.gaps, gaps.dropped) == ([], 0)


def test_an_outage_lasts_from_the_last_good_look_to_the_next_one() -> None:
    gaps = ListeningGaps("can1", 0)
    gaps.drained(1 * S, "listening", 0, None)
    assert gaps.drained(2 * S, "reader silent", 0, None) == []
    assert gaps.drained(3 * S, "reader silent", 0, None) == []
    assert [gap[:2] for gap in gaps.so_far(3 * S)] == [(1 * S, 3 * S)]
    gap = RecorderGap(1 * S, 4 * S, "the adapter could not be read (reader silent)", "can1")
    assert gaps.drained(4 * S, "listening", 0, 4 * S) == [gap]
    assert gaps.drained(5 * S, "listening", 0, None) == []
    assert gaps.gaps == [gap]


def test_an_outage_between_two_looks_is_known_from_the_adapter() -> None:
    gaps = ListeningGaps("can1", 5 * S)
    before = LinkOutage(1 * S, 2 * S, "pulled out")  # the listening had not begun
    begun = LinkOutage(4 * S, 6 * S, "pulled out")
    why = "the adapter could not be read (pulled out)"
    assert gaps.drained(7 * S, "listening", 0, None, (before, begun)) == [RecorderGap(5 * S, 6 * S, why, "can1")]
    assert gaps.drained(8 * S, "listening", 0, None, (before, begun)) == []
    # one that was seen is told once, from the last good look on
    going = LinkOutage(round(8.5 * S), None, "pulled out")
    assert gaps.drained(9 * S, "link lost", 0, None, (before, begun, going)) == []
    over = (before, begun, LinkOutage(going.start_ns, round(9.5 * S), going.why))
    assert [gap[:2] for gap in gaps.drained(10 * S, "listening", 0, None, over)] == [(8 * S, 10 * S)]
    assert gaps.drained(11 * S, "listening", 0, None, over) == []


def test_an_outage_that_goes_on_is_told_up_to_each_judgement() -> None:
    gaps = ListeningGaps("can1", 0)
    gaps.drained(S, "link lost", 0, None)
    why = "the adapter could not be read (link lost)"
    assert gaps.judged(2 * S) == [RecorderGap(0, 2 * S, why, "can1")]
    assert gaps.drained(3 * S, "link lost", 0, None) == []
    assert gaps.judged(4 * S) == [RecorderGap(2 * S, 4 * S, why, "can1")]


def test_dropped_frames_came_behind_those_that_were_kept() -> None:
    gaps = ListeningGaps("can1", 0)
    gaps.drained(S, "listening", 0, None)
    assert gaps.drained(3 * S, "listening", 12, 2 * S) == []  # there may be more
    (known,) = gaps.so_far(3 * S)  # whoever asks meanwhile knows of it
    (found,) = gaps.drained(4 * S, "listening", 12, None)
    assert found == known
    assert found[:2] == (2 * S, 3 * S)
    assert (found.bus, found.dropped, gaps.dropped) == ("can1", 12, 12)
    assert "12 frames were dropped" in found.why
    assert gaps.drained(5 * S, "listening", 13, None) == []
    (other,) = gaps.judged(5 * S)  # what is judged now must know
    assert (other[:2], other.dropped, gaps.dropped) == ((4 * S, 5 * S), 1, 13)
    assert gaps.judged(6 * S) == []


def test_drops_without_end_are_few_gaps() -> None:
    gaps = ListeningGaps("can1", 0)
    for k in range(1, 1251):
        gaps.drained(k * S // 50, "listening", k, k * S // 50 - 1)
    gaps.judged(25 * S)
    assert [gap.dropped for gap in gaps.gaps] == [501, 501, 248]
    assert gaps.dropped == 1250
    assert (gaps.gaps[0].start_ns, gaps.gaps[-1].end_ns) == (S // 50 - 1, 25 * S)


class Outage:
    """Frames of a while don't come, from `at_s` after power-on on; as an adapter that can't be read, or that drops."""

    def __init__(self, at_s: float, length_s: float, *, drops: bool) -> None:
        self.from_s, self.to_s, self.drops = at_s, at_s + length_s, drops

    def onto(self, job: Job) -> None:
        adapter = job.bench._can["can1"]
        plain: Callable[[], FrameBatch] = adapter.drain

        def drain() -> FrameBatch:
            batch = plain()
            powered = job.bench.model.powered_units()
            if not powered:
                return batch
            since = job.bench.now_s - min(powered.values())
            if not self.from_s <= since < self.to_s:
                adapter.state = "listening"
                return batch
            if self.drops:
                adapter.counts = Counts(frames=0, dropped=adapter.counts.dropped + len(batch), garbled=0)
            else:
                adapter.state = "reader silent"
            return FrameBatch(*(np.asarray(getattr(batch, name))[:0] for name in FrameBatch.__slots__))

        adapter.drain = drain  # type: ignore[method-assign]


def live_with(outage: Outage, folder: Path, *faults: Fault) -> tuple[Job, Path]:
    harness, plan, context = shipped("survey_launch")
    sink = CaptureFile(folder / "live.pcapng", harness)
    made = job_on(harness, plan, context, faults, capture=sink)
    outage.onto(made)
    made.run()
    sink.close()
    return made, sink.path


def heard(replayed: Replayed) -> dict[str, tuple[Outcome, str, Reading]]:
    return {
        str(r.step.settings["unit"]): (r.outcome, r.verdict.text, r.reading)
        for r in replayed.results
        if r.step.check == "unit_heard"
    }


@pytest.mark.parametrize("drops", [True, False])
def test_nobody_fails_for_what_the_bench_did_not_hear_and_a_replay_says_the_same(tmp_path: Path, drops: bool) -> None:
    made, path = live_with(Outage(4.0, 1.5, drops=drops), tmp_path, SilentUnit("TIDE"))
    replayed, told = replay(path), told_live(made)
    assert {r.step.id: told_again(r) for r in replayed.results} == {
        r.step.id: told[r.step.id] for r in replayed.results
    }
    units = heard(replayed)
    assert units["TIDE"][0] is Outcome.FAIL  # there was time enough beside
    others = {unit: found for unit, found in units.items() if unit != "TIDE"}
    assert {found[0] for found in others.values()} == {Outcome.UNSURE if drops else Outcome.PASS}
    word = "dropped" if drops else "the adapter could not be read"
    assert word in others["NAV"][1]
    with open_recording(path) as recording:
        marks = [item for item in recording if isinstance(item, Mark) and item.kind == "gap"]
        gaps = recording.recorder_gaps
    assert marks
    assert [RecorderGap.from_mark(mark.body) for mark in marks] == gaps
    # the statistics count what the marks name, once
    assert recording.dropped_frames == sum(gap.dropped for gap in gaps)
    assert (recording.dropped_frames > 0) == drops


def test_a_load_that_may_have_been_higher_is_unsure(tmp_path: Path) -> None:
    _, path = live_with(Outage(4.0, 1.5, drops=False), tmp_path)
    load = next(r for r in replay(path).results if r.step.check == "bus_load")
    assert load.outcome is Outcome.UNSURE
    assert "not everything was recorded" in load.verdict.text


def test_frames_lost_inside_an_adapter_may_have_been_lost_since_it_was_asked_before() -> None:
    gaps = ListeningGaps("can1", S)
    gaps.drained(2 * S, "listening", 0, None)
    assert gaps.drained(3 * S, "listening", 1, 3 * S - 1, (), S // 2) == []
    told = gaps.judged(4 * S)
    assert [(gap.start_ns, gap.end_ns, gap.dropped) for gap in told] == [(S, 3 * S, 1), (3 * S, 4 * S, 0)]
    assert "lost in the adapter" in told[0].why
