"""`benchcheck face`: the side that you look at, as a drawing, as lines, as JSON."""

from __future__ import annotations

import json

import pytest

from benchcheck.cli.main import run
from benchcheck.profile.find import find_profile
from benchcheck.profile.load import load_profile

P1_MATING = """\
P1: dsub9, sockets; mating face, wide row up
.------------------------.
\\    B5  4   R3  2   1   /
 \\     9   8   7   6    /
  '--------------------'
R 3: upper row, 3rd from the left, looking at the mating face (sockets)
B 5: upper row, 1st from the left, looking at the mating face (sockets)
"""


def test_a_drawing_with_two_marks(capsys):
    assert run(["face", "starter", "P1", "--mark", "3, P1-5"]) == 0
    assert capsys.readouterr().out == P1_MATING


def test_the_wiring_side_is_the_mirror_image(capsys):
    assert run(["face", "starter", "P1", "--side", "wiring", "--plain"]) == 0
    lines = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    # published: pitch 2.76 mm, rows 2.84 mm apart; the back of a female looks like the front of a male, 1 at the left
    assert lines[0] == ["1", "-5.52", "1.42", "", "upper row, 1st from the left, looking at the wiring side"]
    assert [line[0] for line in lines] == [str(number) for number in range(1, 10)]


def test_json(capsys):
    assert run(["face", "survey_launch", "P102", "--json", "--mark", "1"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.face/1"
    assert (document["family"], document["gender"], document["side"]) == ("hd26", "socket", "mating")
    assert len(document["contacts"]) == 26
    one = document["contacts"][0]
    assert (one["contact"], one["size"], one["mark"]) == ("1", "22D", "R")
    assert one["x_mm"] is None  # the shift of its rows is not known
    assert "moulded numbers" in document["caution"]
    assert one["neighbours"] == ["2", "10", "11"]


@pytest.mark.parametrize("profile", ["starter", "survey_launch"])
def test_every_connector_fits_a_terminal(profile, capsys, monkeypatch):
    harness = load_profile(find_profile(profile))
    monkeypatch.setattr("benchcheck.profile.load.load_profile", lambda folder: harness)  # read once for all
    for connector in harness.connectors.values():
        if not connector.contacts:
            continue
        for side in ("mating", "wiring"):
            assert run(["face", profile, connector.ref, "--side", side, "--mark", connector.contacts[-1]]) == 0
            lines = capsys.readouterr().out.splitlines()
            assert max(map(len, lines)) <= 80


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["starter", "P11"], "Did you mean 'P1'?"),
        (["starter", "GND1"], "has no face"),
        (["starter", "P1", "--mark", "10"], "P1 has no contact '10'"),
        (["starter", "P1", "--side", "top"], "top"),
    ],
)
def test_wrong_use(words, said, capsys):
    assert run(["face", *words]) == 2
    assert said in capsys.readouterr().err
