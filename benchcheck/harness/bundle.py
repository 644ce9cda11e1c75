"""What is joined to chassis so that one reading proves a group apart from many.

A bundle is a set of conducting groups that clips and shorting plugs join to chassis. A group that is outside of it
reads open against chassis only if nothing joins it to chassis or to any group of the bundle: one reading for all of
these pairs. What is in the bundle is proved apart by other readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass

from benchcheck.harness.conducting import Conducting
from benchcheck.harness.model import Connector, Harness
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import RING, SHELL, join, pin_of, ref_of

# Families on whose contacts no plug fits: they are reached by clips.
CLIPPED_FAMILIES = frozenset({"stud", "splice", "terminals"})
# What a person keeps an eye on while it hangs in the bay, and what makes one more worth its two moves (own choice).
MOST_CLIPS = 10
CLIP_SAVES = 8


@dataclass(frozen=True, slots=True)
class Joining:
    """One reading: group number `group`, touched at `red`, against all that is joined to chassis in `state`."""

    group: int
    red: str
    state: BenchState


def walk(harness: Harness, groups: Conducting) -> Iterator[Joining]:
    """The bundle that grows from chassis until every group is in it, connector by connector.

    Each group is read against the bundle and then joined to it. So of any two groups one was joined before the other
    was read, and that reading proves the two apart: one reading less than there are groups proves every pair.

    The feeds are first: their shorts are known before anything else is done. In a connector single contacts are
    joined (a clip, or a link of its shorting plug that is closed); once all of its groups are in the bundle, the plug
    goes on whole, and the state names one connector in place of its contacts. Shields and what is reached only at
    studs, terminals and splices is joined by clips.
    """
    bundle = {groups.number[harness.chassis]}
    plugs: frozenset[str] = frozenset()
    links: frozenset[str] = frozenset()

    def read(contact: str) -> Iterator[Joining]:
        nonlocal links
        group = groups.number.get(contact)
        if group is not None and group not in bundle:
            yield Joining(group, contact, BenchState(plugs=plugs, links=links))
            bundle.add(group)
            links |= {contact}

    for feed in harness.feeds:
        yield from read(feed.source)
    for connector in _in_zones(harness.connectors.values()):
        if connector.family in CLIPPED_FAMILIES:
            continue
        for pin in connector.contacts:
            yield from read(join(connector.ref, pin))
        own = {link for link in links if ref_of(link) == connector.ref and pin_of(link) in connector.contacts}
        if len(own) > 1:
            links -= own
            plugs |= {connector.ref}
        for pin in (RING, SHELL):
            yield from read(join(connector.ref, pin))
    for members in groups.members:
        yield from read(clip_point(harness, members))


def _in_zones(connectors: Iterable[Connector]) -> list[Connector]:
    """The connectors as the profile lists them, those of one zone together."""
    zones: dict[str, list[Connector]] = {}
    for connector in connectors:
        zones.setdefault(connector.zone, []).append(connector)
    return [connector for zone in zones.values() for connector in zone]


def clip_point(harness: Harness, members: Iterable[str]) -> str:
    """Where a clip goes on a group: a ring, stud or terminal before a contact in a cavity; a splice is sleeved."""

    def rank(contact: str) -> int:
        connector = harness.connectors.get(ref_of(contact))
        family = connector.family if connector is not None else "splice"
        if family == "splice":
            return 2
        return 0 if pin_of(contact) in (RING, SHELL) or family in CLIPPED_FAMILIES else 1

    return min(members, key=rank)


def hubs(
    wanted: Mapping[int, Set[int]], able: Set[int], read_apart: Set[int], *, most: int = MOST_CLIPS
) -> tuple[int, ...]:
    """The few groups whose clip to chassis saves most readings, best first.

    wanted      group -> the groups that it must be proved apart from, both ways, chassis left out
    able        groups that may be clipped, and that may be read against what is clipped
    read_apart  those of them whose reading against chassis is taken by another kind of check: one more is none saved
    """
    chosen: list[int] = []
    met = dict.fromkeys(able, 0)  # group -> how many of those that it must be apart from are clipped
    while len(chosen) < most:
        best, best_gain = -1, CLIP_SAVES - 1
        for group in sorted(able - set(chosen)):
            gain = sum(other not in read_apart or met[other] > 0 for other in wanted.get(group, ()) if other in able)
            if gain > best_gain:
                best, best_gain = group, gain
        if best < 0:
            break
        chosen.append(best)
        for other in wanted.get(best, ()):
            if other in met:
                met[other] += 1
    return tuple(chosen)
