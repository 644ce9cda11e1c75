"""Faults of RS-232 lines in the simulated bench: inverted levels, talkers exchanged, and a bridge for loop-back."""

from __future__ import annotations

import pytest
from model_bench import shipped
from small_benches import ALL_IN, chain

from benchcheck.harness.line_protocol import TextProtocol
from benchcheck.harness.model import Harness
from benchcheck.simulator.fault_file import parse_faults
from benchcheck.simulator.faults import ExchangedTalkers, InvertedLevels, Short
from benchcheck.simulator.lines import garble, senders
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.sentences import described_line, nmea
from benchcheck.simulator.timing import habits
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.errors import FaultyFiles, InputError


def powered(*faults: InvertedLevels) -> BenchModel:
    model = BenchModel(chain(), faults, seed=0)
    model.set_state(ALL_IN)
    model.set_supply(24.0, 5.0, True)
    return model


def test_inverted_levels_are_positive_at_rest_and_move_the_wire_all_the_same() -> None:
    sound, inverted = powered(), powered(InvertedLevels("P1-7"))
    assert sound.true_volts("P2-8", "P2-2") < -3
    assert inverted.true_volts("P2-8", "P2-2") == pytest.approx(-sound.true_volts("P2-8", "P2-2"), abs=0.1)
    assert [(d.transmitter.unit, d.inverted) for d in sound.hearing().at_tap("P2-8", "P2-2")] == [("U1", False)]
    assert [(d.transmitter.unit, d.inverted) for d in inverted.hearing().at_tap("P2-8", "P2-2")] == [("U1", True)]


def test_what_a_receiver_makes_of_inverted_levels() -> None:
    text = nmea("GPGGA", 43200.0) * 3
    heard = garble(text, 4800, 4800, inverted=True)
    assert heard
    assert b"GPGGA" not in heard
    assert any(byte >= 0x80 for byte in heard)
    # by hand: 0x55 in 8N1 is start 0, then 1 0 1 0 1 0 1 0, stop 1; inverted 1 0 1 0 1 0 1 0 1 0: the first 0 is taken
    # for a start bit, and the bits behind it, lowest first, are 1 0 1 0 1 0 1 0: 0x55 again
    assert garble(b"\x55", 4800, 4800, inverted=True)[:1] == b"\x55"


def launch_said(*faults: ExchangedTalkers) -> dict[str, bytes]:
    """What each unit says into each of its contacts within a second and a half of its start."""
    harness = shipped("survey_launch")[0]
    found = {}
    for line in senders(harness, habits(harness, faults), faults):
        pieces = [piece for step in range(400) for piece in line.advance(step * 0.01, 0.0)]
        found[f"{line.unit}:{line.contact}"] = b"".join(piece.heard(line.baud, line.baud) for piece in pieces)
    return found


def test_two_talkers_exchanged_say_what_the_other_should() -> None:
    plain = launch_said()
    other = launch_said(ExchangedTalkers("position", "GNSS", "depth", "SONAR"))
    changed = {name for name, data in plain.items() if data != other[name]}
    assert len(changed) == 2
    gnss = next(name for name in changed if name.startswith("GNSS"))
    (sonar,) = changed - {gnss}
    assert b"$SDDPT" in other[gnss]
    assert b"$GPGGA" not in other[gnss]
    assert b"$GPGGA" in other[sonar]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('first = "position"\nfirst_sender = "NAV"\nsecond = "depth"\nsecond_sender = "SONAR"', "says nothing on link"),
        (
            'first = "position"\nfirst_sender = "GNSS"\nsecond = "tide"\nsecond_sender = "TIDE"',
            "another protocol or speed",
        ),
    ],
)
def test_an_exchange_that_can_not_be(text: str, words: str) -> None:
    with pytest.raises(FaultyFiles) as caught:
        parse_faults(f'[[faults]]\nkind = "exchanged_talkers"\n{text}\n', shipped("survey_launch")[0])
    assert words in str(caught.value.faults[0].text)


def test_inverted_levels_want_a_transmitter() -> None:
    with pytest.raises(FaultyFiles):
        parse_faults('[[faults]]\nkind = "inverted_levels"\ncontact = "P102-1"\n', shipped("survey_launch")[0])


SEND, HEAR, GROUND, FAR = "P106-3", "P106-2", "P106-5", ("P107-2", "P107-3")


def looped(harness: Harness, *faults: Short, bridge: bool = True) -> bool:
    model = BenchModel(harness, faults, seed=0)
    model.set_state(ALL_OPEN)
    model.loop("tap1", SEND, HEAR, GROUND, FAR if bridge else None)
    return model.comes_back("tap1")


def test_what_is_sent_comes_back_over_the_bridge_alone() -> None:
    harness = shipped("survey_launch")[0]
    assert looped(harness)
    assert not looped(harness, bridge=False)
    assert looped(harness, Short((SEND, HEAR), 0.2), bridge=False)
    assert not looped(harness, Short((HEAR, GROUND), 0.2))
    model = BenchModel(harness, (), seed=0)
    assert not model.comes_back("tap1")
    with pytest.raises(InputError):
        model.loop("tap1", "P999-1", HEAR, GROUND)


def test_lines_of_a_described_protocol_go_on_with_time() -> None:
    protocol = TextProtocol("plain", b"\r\n", r"(LEVEL) [0-9]+\.[0-9]{2} [0-9]{4}")
    assert len({described_line(protocol, "LEVEL", moment) for moment in (0.0, 1.0, 2.3, 7.9)}) > 1
