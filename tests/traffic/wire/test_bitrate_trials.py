"""The bit rate of a bus, from what was heard at several."""

from __future__ import annotations

from benchcheck.traffic.wire.bitrate_trials import BitrateState, BitrateTrial, judge_bitrate, rates_in_order


def test_the_rate_at_which_frames_come_whole() -> None:
    found = judge_bitrate([BitrateTrial(500_000, 0, 1.5, True), BitrateTrial(250_000, 352, 1.5)], 500_000)
    assert (found.state, found.bitrate) == (BitrateState.FOUND, 250_000)
    assert found.text == "250000 bit/s: 352 good frames in 1.5 s; the profile says 500000 bit/s"
    assert "profile" not in judge_bitrate([BitrateTrial(250_000, 3, 1.5)], 250_000).text


def test_no_traffic_can_not_be_told() -> None:
    found = judge_bitrate([BitrateTrial(rate, 0, 1.5, False) for rate in rates_in_order(None)])
    assert (found.state, found.bitrate) == (BitrateState.NO_TRAFFIC, None)
    assert found.text == "no traffic at any of 10 bit rates: can't tell"
    found = judge_bitrate([BitrateTrial(rate, 0, 1.5) for rate in rates_in_order(None)])
    assert "does not say whether it saw errors" in found.text


def test_errors_without_a_frame_are_not_silence() -> None:
    found = judge_bitrate([BitrateTrial(250_000, 0, 1.5, True), BitrateTrial(500_000, 0, 1.5, False)])
    assert found.state is BitrateState.UNCLEAR


def test_too_few_frames_and_frames_everywhere_are_no_answer() -> None:
    assert judge_bitrate([BitrateTrial(250_000, 2, 1.5)]).state is BitrateState.UNCLEAR
    assert judge_bitrate([BitrateTrial(250_000, 50, 1.5), BitrateTrial(500_000, 40, 1.5)]).state is BitrateState.UNCLEAR


def test_an_adapter_that_takes_no_rate_can_not_do_it() -> None:
    found = judge_bitrate([BitrateTrial(rate, 0, 0.0, refused=True) for rate in rates_in_order(250_000)])
    assert found.state is BitrateState.CANT


def test_what_was_planned_comes_first_and_everything_once() -> None:
    order = rates_in_order(500_000)
    assert order[0] == 500_000
    assert len(order) == len(set(order)) == 10
    assert rates_in_order(None)[0] == 250_000
