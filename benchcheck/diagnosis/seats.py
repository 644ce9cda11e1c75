"""Conductors that sit in other contacts than planned: exchanged, in a wrong cavity, a whole connector wired wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.hypothesis import Hypothesis
from benchcheck.harness.connector.geometry import neighbours_of
from benchcheck.harness.model import Connector, Role, Run
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import contact_key, join, pin_of, ref_of
from benchcheck.words.result import Result
from benchcheck.words.squawk import SquawkKind

# How common a fault is against the usual one of its kind (common practice, no source; `priors` has the rest): contacts that don't
# lie beside each other are exchanged or mistaken less often, and a contact that is taken seldom takes one more.
FARTHER = 0.3
TAKEN = 0.3


def swap(context: Context, a: str, b: str) -> Hypothesis:
    """The conductors of two contacts of one connector exchanged."""
    first, second = sorted((a, b), key=contact_key)
    crossed = is_tx_and_rx(context, first, second)
    kind = SquawkKind.CROSSED_TX_RX if crossed else SquawkKind.SWAPPED_CONTACTS
    what = "transmit and receive are crossed" if crossed else "the conductors are swapped"
    text = f"{what}: {first} and {second}"
    rarity = 1.0 if crossed or beside(context, first, second) else FARTHER
    return Hypothesis(
        kind, (first, second), text, where_to={a: b, b: a}, movers=ending_at(context, (a, b)), rarity=rarity
    )


def ending_at(context: Context, contacts: Iterable[str]) -> frozenset[str]:
    """The conductors of the pin table that end at any of these contacts."""
    wanted = set(contacts)
    at = context.nets.ends_by_connector
    return frozenset(run.wire for ref in {*map(ref_of, wanted)} for end, run in at.get(ref, ()) if end in wanted)


def is_tx_and_rx(context: Context, a: str, b: str) -> bool:
    """Whether two contacts are the transmit and the receive contact of one RS-232 link."""
    for link in context.harness.links:
        sent, received = {talk.tx for talk in link.talks}, {talk.rx for talk in link.talks}
        if (a in sent and b in received) or (b in sent and a in received):
            return True
    # a link of which only one direction is declared: the unit itself says what its contacts are
    entries = [context.harness.unit_contact(contact) for contact in (a, b)]
    roles = {entry.role for entry in entries if entry is not None}
    links = {link.name for link in context.harness.links for t in link.talks if {a, b} & {t.tx, t.rx}}
    return roles == {Role.RS232_TX, Role.RS232_RX} and len(links) == 1


def beside(context: Context, a: str, b: str) -> bool:
    """Whether two contacts of one connector lie beside each other."""
    connector = context.harness.connectors.get(ref_of(a))
    if connector is None or ref_of(b) != connector.ref:
        return False
    near = neighbours_of(connector)
    return (pin_of(a), pin_of(b)) in near or (pin_of(b), pin_of(a)) in near


def wrong_contact(context: Context, run: Run, end: str, to: str) -> Hypothesis:
    """A run whose one end sits in another contact."""
    # a vacant contact takes it, all of them together as often as an end goes wrong; one that is taken seldom does
    free = [contact for contact in vacant(context, ref_of(end)) if contact != end]
    whole = sum(1.0 if beside(context, end, contact) else FARTHER for contact in free)
    rarity = (1.0 if beside(context, end, to) else FARTHER) / max(whole, 1.0) * (1.0 if to in free else TAKEN)
    text = f"{run.wire} sits in {to} instead of {end}"
    return Hypothesis(
        SquawkKind.WRONG_CONTACT, (run.wire,), text, where_to={end: to}, movers=frozenset({run.wire}), rarity=rarity
    )


def landed_vacant(context: Context, run: Run) -> Iterator[Hypothesis]:
    """An open run may sit in a contact that no conductor of the table uses."""
    for end in run.ends:
        for contact in sorted(vacant(context, ref_of(end)), key=contact_key):
            if pin_of(end):
                yield wrong_contact(context, run, end, contact)


def vacant(context: Context, ref: str) -> tuple[str, ...]:
    """Contacts of a connector that no conductor of the pin table uses."""
    connector = context.harness.connectors.get(ref)
    if connector is None or connector.family in ("stud", "splice"):
        return ()
    contacts = (join(ref, pin) for pin in connector.contacts)
    return tuple(contact for contact in contacts if context.nets.net_of(contact) is None)


def landed_beside(context: Context, result: Result, failed_runs: Sequence[Run]) -> Iterator[Hypothesis]:
    """A run that is open and whose end joins another net: it sits in that net's contact."""
    circuit = context.circuit(ALL_OPEN)
    other = circuit.component(result.step.red) | circuit.component(result.step.black)
    for run in failed_runs:
        for end in run.ends:
            connector = context.harness.connectors.get(ref_of(end))
            if connector is not None and pin_of(end):
                for pin in connector.contacts:
                    to = join(connector.ref, pin)
                    if to != end and to in other:
                        yield wrong_contact(context, run, end, to)


def reseated(context: Context, failed_runs: Sequence[Run]) -> Iterator[Hypothesis]:
    """Many conductors of one connector that sit wrong by one mistake."""
    ends: dict[str, list[str]] = {}
    for run in failed_runs:
        for end in run.ends:
            ends.setdefault(ref_of(end), []).append(end)
    for ref, failed in ends.items():
        connector = context.harness.connectors.get(ref)
        if len(set(failed)) >= 3 and connector is not None:
            yield mirrored(context, connector)
            if len(connector.rows) > 1:
                yield rows_exchanged(context, connector)
            order = [join(ref, pin) for pin in connector.contacts]
            at = sorted({order.index(end) for end in failed if end in order})
            # the piece may be shorter than what failed: a bridge ends at two contacts, and one of them is in it
            pieces = [(at[0], end) for end in at[2:]] + [(at[-1], end) for end in at[:-2]]
            for first, last in pieces if len(at) >= 3 else ():
                fault = off_by_one(context, connector, order[first], order[last])
                if fault is not None:
                    yield fault


def off_by_one(context: Context, connector: Connector, first: str, last: str) -> Hypothesis | None:
    """From `first` to `last` each conductor sits one contact further in that direction; None where that one is taken."""
    order = [join(connector.ref, pin) for pin in connector.contacts]
    if order.index(first) > order.index(last):
        order.reverse()
    start, end = order.index(first), order.index(last)
    if end + 1 >= len(order) or context.nets.net_of(order[end + 1]) is not None:
        return None
    where_to = {order[number]: order[number + 1] for number in range(start, end + 1)}
    text = f"in {connector.ref} the conductors from {first} to {last} sit one contact further each, the last in {order[end + 1]}"
    return _moved(context, SquawkKind.OFF_BY_ONE, (connector.ref, first, last), text, where_to)


def rows_exchanged(context: Context, connector: Connector) -> Hypothesis:
    """A connector of which the first row was wired as the last, and the last as the first."""
    rows = [[join(connector.ref, pin) for pin in row] for row in (connector.rows[0], connector.rows[-1])]
    where_to = {a: b for one, other in (rows, rows[::-1]) for a, b in zip(one, other, strict=False)}
    text = f"{connector.ref}: two rows are exchanged, what belongs into one sits in the other"
    return _moved(context, SquawkKind.ROWS_EXCHANGED, (connector.ref,), text, where_to)


def mirrored(context: Context, connector: Connector) -> Hypothesis:
    """A connector wired from the wrong face: each conductor sits at the other end of its row."""
    where_to = {
        join(connector.ref, pin): join(connector.ref, opposite)
        for row in connector.rows
        for pin, opposite in zip(row, reversed(row), strict=True)
        if pin != opposite
    }
    text = f"{connector.ref} is wired from the wrong face: the numbering of each row is reversed"
    return _moved(context, SquawkKind.MIRRORED_NUMBERING, (connector.ref,), text, where_to)


def _moved(
    context: Context, kind: SquawkKind, where: tuple[str, ...], text: str, where_to: Mapping[str, str]
) -> Hypothesis:
    return Hypothesis(kind, where, text, where_to=where_to, movers=ending_at(context, where_to))
