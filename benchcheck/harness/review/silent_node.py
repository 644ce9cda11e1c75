"""A node of a bus has no message in the database, or a message has no sender among the units."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class SilentNode(Rule):
    code = "silent_node"
    severity = Severity.WARNING
    title = "Every node of a bus with a database has a message, and every message a unit that sends it"
    why = (
        "A unit without messages can't be heard, so nothing on the bus proves it; a message without a unit proves none."
    )
    do = (
        "Give the unit the name that the database knows (node), tell it by [[buses.sources]], or correct the senders in the "
        "database."
    )
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for bus in view.harness.buses:
            if not bus.is_known:
                continue
            told = {(source.can_id, source.extended) for source in bus.sources if source.is_one_identifier}
            for ref in bus.nodes:
                if ref not in bus.talkers:
                    node = view.harness.units[ref].node
                    text = f"{bus.name}: no message of {ref} (as sender '{node}') in the database"
                    yield Hit((ref,), view.harness.units[ref].place, text)
            for message in bus.messages:
                if not message.sender and (message.can_id, message.extended) not in told:
                    text = f"{bus.name}: message {message.name} ({message.can_id:X}) is sent by no unit of the profile"
                    yield Hit((bus.name,), bus.place, text)
                elif message.sender and message.sender not in bus.nodes:
                    text = (
                        f"{bus.name}: message {message.name} is sent by {message.sender}, which is no node of the bus"
                    )
                    yield Hit((message.sender,), bus.place, text)
