"""Patterns of the profile's own protocols: which are taken, which are refused in words, and that none can take long."""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from benchcheck.harness.line_pattern import LONGEST_PATTERN, MOST_TIMES, BadPattern, fitting, line_pattern


@pytest.mark.parametrize(
    ("pattern", "line", "kind"),
    [
        (r"(LEVEL|BATT) [0-9.]+", b"LEVEL 1.52", b"LEVEL"),
        (r"(LEVEL|LEVELS) .*", b"LEVELS 2", b"LEVELS"),
        (r"(LEVEL|LEVELS) .*", b"LEVEL 2", b"LEVEL"),
        (r"\$([A-Z]{3,5}),[^,]*,\d+", b"$SVP,1480.2,07", b"SVP"),
        (r"#(\d\d):.*", b"#07:anything at all", b"07"),
        (r"(T)-?\d+\.\d", b"T-12.5", b"T"),
        (r"(T)-?\d+\.\d", b"T12.5", b"T"),
        (r"\x02(\w+)\x03", b"\x02AB_1\x03", b"AB_1"),
        (r"(A)\s*[\]\\\-]", b"A \t]", b"A"),
        (r"(x{2}).", b"xx\t", b"xx"),
        (r"[+-](y)[a\-z]", b"+y-", b"y"),
    ],
)
def test_what_a_pattern_takes(pattern: str, line: bytes, kind: bytes) -> None:
    match = line_pattern(pattern).fullmatch(line)
    assert match is not None
    assert match[1] == kind


@pytest.mark.parametrize(
    ("pattern", "line"),
    [
        (r"(LEVEL) [0-9.]+", b"LEVEL 1.52 "),
        (r"(LEVEL) [0-9.]+", b" LEVEL 1.52"),
        (r"(LEVEL) .*", b"LEVEL \x80"),  # a dot is a printable character
        (r"(LEVEL) [^,]*", b"LEVEL \xff"),
        (r"(T)\d{2}", b"T123"),
    ],
)
def test_a_pattern_is_held_against_the_whole_line(pattern: str, line: bytes) -> None:
    assert line_pattern(pattern).fullmatch(line) is None


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("(a+)+b", "repeats a group"),
        ("(a*)*", "repeats a group"),
        ("(a|b){2,}", "repeats a group"),
        ("((a+)+)+$", "a group within a group"),
        ("(a)++", "repeats a group"),
        ("(x)a**", "repeats the repeat 'a*'"),
        ("(x)a+?b", "repeats the repeat 'a+'"),
        ("(x).*.*.*.*y", "'.*' can take what '.*' behind it needs"),
        ("(x).*y", "'.*' can take what 'y' behind it needs"),
        (r"(x)\d*[a-f]?\d", r"'\d*' can take what '\d' behind it needs"),
        ("a*(ab|cd)", "can take what 'a' behind it needs"),
        ("([A-Z]+)[A-Z0-9]", "can take what"),
        ("(a+|b)", "a repeat in one of several words"),
        ("(?:a)(b)", "a group with an option"),
        ("(?P<x>a)", "a group with an option"),
        ("(?=a)(b)", "a group with an option"),
        ("(a)(b)", "two groups"),
        ("abc", "no group"),
        ("", "no group"),
        ("()", "an empty group"),
        ("(a|)", "an empty word"),
        ("(a", "not closed"),
        ("(a)[bc", "a set that is not closed"),
        ("(a)[]", "an empty set"),
        ("(a)[z-a]", "a range that is none"),
        (r"(a)\1", r"'\1'"),
        (r"(a)\b", r"'\b'"),
        ("(a)\\", "'\\'"),
        (r"(a)\x1", "without two hexadecimal digits"),
        ("^(a)", "'^'"),
        ("(a)$", "'$'"),
        ("+(a)", "'+' with nothing before it"),
        ("(a)b{", "without a count"),
        ("(a)b{3,1}", "the count"),
        ("(a)b{9999}", "the count"),
        ("(a)b{0}", "the count"),
        ("(a)\u00e4", "U+00E4"),
        ("(a)\n", "U+000A"),
        ("(a)" + "b" * LONGEST_PATTERN, "characters"),
        ("b|(a)", "'|'"),
        ("a)(b)", "')'"),
    ],
)
def test_what_is_refused_and_in_which_words(pattern: str, words: str) -> None:
    with pytest.raises(BadPattern) as caught:
        line_pattern(pattern)
    assert words in caught.value.text
    assert caught.value.hint
    assert caught.value.text.isprintable()


ATOMS = st.sampled_from(
    [".", r"\d", r"\w", r"\s", "a", "b", "[ab]", "[^a]", "[a-z]", r"\x61", ",", r"\.", "(a|ab)", "([ab]+)", "(a)"]
)
TIMES = st.sampled_from(["", "", "*", "+", "?", "{2}", "{0,3}", "{1,}", f"{{0,{MOST_TIMES}}}"])


@settings(max_examples=400, deadline=None)
@given(
    st.lists(st.tuples(ATOMS, TIMES), max_size=12).map(lambda parts: "".join(a + t for a, t in parts)),
    st.binary(max_size=60),
)
@example("(a)" + "[ab]?" * 30, b"a" + b"a" * 60)
def test_a_pattern_that_is_taken_matches_as_the_common_notation_says(pattern: str, line: bytes) -> None:
    """The standard library's own matcher, on the same text, agrees wherever a pattern is taken at all."""
    try:
        ours = line_pattern(pattern)
    except BadPattern:
        return
    dot = r"[\t\x20-\x7e]"
    plain = pattern.replace(r"\.", "\0").replace(".", dot).replace("\0", r"\.")
    plain = plain.replace("[^a]", r"[\t\x20-\x60\x62-\x7e]").replace(r"\s", r"[ \t]").replace("(a|ab)", "(ab|a)")
    theirs = re.compile(plain.encode("ascii")).fullmatch(line)
    match = ours.fullmatch(line)
    assert (match is None) == (theirs is None)
    if match is not None and theirs is not None:
        assert match[1] == theirs[1]


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet=r"ab(|)[]*+?{}\.^$-,0123:=!P<>xdwsntZ ", max_size=24) | st.text(max_size=12))
def test_any_text_is_taken_or_refused_in_words(pattern: str) -> None:
    words = "taken"
    try:
        line_pattern(pattern).fullmatch(b"ab" * 400)
    except BadPattern as bad:
        words = bad.text
    assert words.isprintable()
    assert words


@pytest.mark.parametrize(
    "pattern",
    [
        "(a)" + "a?" * 40,
        "(a)" + "[ab]{0,9}" * 9,
        "a{0,1024}" * 6 + "(b)",
        "(x)" + "".join(f"{c}*" for c in "abcdefghij"),
    ],
)
def test_hostile_patterns_end_at_once(pattern: str) -> None:
    """Either refused, or matched without trying anything twice: the test's own time limit is that it ends."""
    try:
        compiled = line_pattern(pattern)
    except BadPattern:
        return
    assert compiled.fullmatch(b"x" + b"abcdefghij" * 100 + b"!") is None


@pytest.mark.parametrize(
    "pattern", [r"(LEVEL|BATT) [0-9.]+", r"\$([A-Z]{3}),[^,]*,\d{2}", r"\x02(\w+)-?\x03", r"(A).?"]
)
def test_a_line_can_be_made_that_fits(pattern: str) -> None:
    kind = "LEVEL" if "LEVEL" in pattern else "A" if pattern.startswith("(A)") else "SVP"
    for number in range(20):
        line = fitting(pattern, kind, lambda among, number=number: among[number % len(among)])  # type: ignore[misc]
        match = line_pattern(pattern).fullmatch(line)
        assert match is not None
        assert match[1].decode() == kind
