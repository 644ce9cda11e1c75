"""A person's hands at the bench: moves things, types readings, switches a supply that takes no commands."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from benchcheck.bench.bench import Bench
from benchcheck.harness.connector.access import Access
from benchcheck.harness.model import Harness
from benchcheck.harness.power import current_limit_a, main_feed
from benchcheck.jobs.asked import (
    BACK,
    QUIT,
    REL,
    SKIP,
    ZERO,
    BackAsked,
    Person,
    Question,
    QuestionKind,
    SkipAsked,
    StopAsked,
    ZeroAsked,
)
from benchcheck.jobs.breakouts import Breakouts
from benchcheck.jobs.hands_free import HandsFree, attending
from benchcheck.jobs.runner import Watcher
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.quantity import parse_quantity
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.result import Result
from benchcheck.words.settling import BY_WORD, looks_lifted
from benchcheck.words.step import Quantity, Stage, Step

_DONE = ("", "y", "yes", "ok", "done")
_ZERO_MAY_BE_ASKED = (QuestionKind.READING, QuestionKind.TOUCH)
_MOST_LEAD_READINGS = 20
_SUPPLY_MOVES = ("supply on", "supply off")
_SHOWN = {"ohm": "ohms", "V": "DC volts", "A": "amperes"}


class ByHand:
    """An Operator: tells a person what to move and waits until it is done.

    typed       readings are typed in, so that the answer to "touch these" is the reading itself
    commanded   the supply is switched by this program, and the person is told before it comes on
    breakouts   the breakout leads of the bench, where it lists any
    hands_free  takes readings by itself; None where each is asked for by Enter
    """

    simulated = False
    unattended = False

    def __init__(
        self,
        harness: Harness,
        person: Person,
        *,
        typed: bool,
        commanded: bool,
        breakouts: Breakouts | None = None,
        hands_free: HandsFree | None = None,
    ) -> None:
        self._harness = harness
        self._person = person
        self._typed = typed
        self._commanded = commanded
        self._breakouts = breakouts or Breakouts(harness, (), lambda: 0)
        self._access = Access(harness)
        self._state: BenchState | None = None  # not known until somebody has confirmed it
        self._loaded: tuple[tuple[str, str], float] | None = None
        self.near_zero_v = harness.limits.near_zero_v
        self._hands_free = hands_free
        self._moved = True  # since the last reading that was taken, as far as is known
        self._to_touch: Question | None = None  # asked together with the reading, where that is taken hands-free
        self.red = self.black = ""
        self.four_wire = False
        self.step: Step | None = None  # the one that is being done; none while a fault is looked for

    def ask(self, question: Question) -> str:
        """The answer, once it is one that the question takes; the way out is a word or an exception."""
        asked = question
        while True:
            typed = self._person.ask(asked).strip()
            why = wrong_answer(question, typed)
            if not why:
                return typed
            asked = replace(question, why=why)

    def tell(self, text: str) -> None:
        self._person.tell(text)

    def accept_cautions(self, cautions: Sequence[str]) -> str:
        """The name under which somebody accepts the cautions; there is no going on without one."""
        question = Question(QuestionKind.CAUTIONS, (*cautions, "To accept these cautions, type your name."))
        while True:
            try:
                name = self.ask(question)
            except (SkipAsked, BackAsked):
                name = ""
            if name:
                return name
            question = replace(question, why="Power comes on only after somebody has accepted them by name.")

    # --- Operator -----------------------------------------------------------------------------------------------

    def bring_to(self, now: BenchState, wanted: BenchState) -> None:
        if self._state is None:
            moves = [move for move in ALL_OPEN.changes_to(wanted) if move not in _SUPPLY_MOVES]
            # whatever an earlier session may have left there
            start = (
                "open every connector and push in every protector, take off every clip, plug, lead and load, "
                "put back what is lifted"
            )
            moves.insert(0, f"{start}; then:" if moves else f"{start}: nothing is plugged")
        else:
            moves = [move for move in now.changes_to(wanted) if move not in _SUPPLY_MOVES]
        leads = self._breakouts.at(wanted)
        for ref, lead in leads.items():
            plain, named = f"put a breakout lead on {ref}", f"put the breakout lead {lead.name!r} on {ref}"
            moves = [named if move == plain else move for move in moves]
        self._access = Access(self._harness, {ref: lead.labels() for ref, lead in leads.items()})
        if self._commanded and wanted.supply_on:
            moves.append(f"stand clear: the supply now comes on, {supply_words(self._harness, wanted)}")
        self._state = None  # half done is not known, should the person leave here
        self.red = self.black = ""
        self._to_touch = None
        if moves:
            self.ask(Question(QuestionKind.STATE, tuple(moves)))
        self._state = wanted

    def forget(self) -> None:
        """What is plugged is not known any more: the next state is told whole."""
        self._state = None
        self.red = self.black = ""

    def touch(self, red: str, black: str, *, four_wire: bool = False) -> None:
        moved = (red, black, four_wire) != (self.red, self.black, self.four_wire)
        self._moved = self._moved or moved
        if (moved or self._hands_free is not None) and not self._typed:
            what = "four-wire clips: red pair" if four_wire else "red"
            todo = (f"{what} on {red}, black{' pair' * four_wire} on {black}",)
            self._ask_to_touch(self.with_access(Question(QuestionKind.TOUCH, todo, red, black)))
        self.red, self.black, self.four_wire = red, black, four_wire

    def take(self, read: Callable[[], Reading], unit: str, *, lifted_passes: bool) -> Reading:
        question, self._to_touch = self._to_touch, None
        if question is not None and self._hands_free is not None:
            try:
                asked, armed = replace(question, unit=unit), not self._moved
                reading = self._hands_free.take(asked, read, wrong_answer, lifted_passes=lifted_passes, armed=armed)
            except BaseException:
                self.red = self.black = ""  # wherever the probes are now
                raise
            self._moved = False
            return reading
        reading = read()
        if looks_lifted(reading, self.near_zero_v):  # a person pressed Enter, or typed it
            return replace(reading, detail={**reading.detail, "contact": BY_WORD})
        return reading

    @property
    def waits(self) -> bool:
        return self._to_touch is not None

    def _ask_to_touch(self, question: Question) -> None:
        """Where readings are taken hands-free, the reading itself is the answer."""
        if self._hands_free is not None:
            self._to_touch = question
        else:
            self.ask(question)

    def with_access(self, question: Question) -> Question:
        """The question with how its two contacts are touched in the bench state that was confirmed."""
        contacts = (question.red, question.black)
        if not all(ref_of(contact) in self._harness.connectors for contact in contacts):
            return question
        how = self._ways(("red", "black"), contacts)
        state = self._state or ALL_OPEN
        short = (self._access.touch(a, state, b).short for a, b in (contacts, contacts[::-1]))
        return replace(question, how=how, how_short=tuple(short))

    def _ways(self, names: tuple[str, str], contacts: tuple[str, str]) -> tuple[str, ...]:
        """How two contacts are touched, a sentence for each; `names` are what goes there."""
        state = self._state or ALL_OPEN
        words = (self._access.words(a, state, b) for a, b in (contacts, contacts[::-1]))
        return tuple(f"{name}, {at}: {how}" for name, at, how in zip(names, contacts, words, strict=True) if how)

    def leads_together(self, contact: str, why: str) -> None:
        self.red = self.black = ""
        self._moved = True
        self._ask_to_touch(
            Question(QuestionKind.TOUCH, ("touch the two leads together, off the harness, and hold them",), why=why)
        )

    def leads_read(self) -> None:
        if self._hands_free is not None:
            self._hands_free.done("the leads are read, let them go")

    def load(self, at: tuple[str, str] | None, amps: float) -> None:
        wanted = (at, amps) if at is not None else None
        if wanted == self._loaded:
            return
        if at is None:
            self.ask(Question(QuestionKind.LOAD, ("take the load resistor off",)))
        else:
            todo = (f"draw {amps:g} A with a load resistor from {at[0]} to {at[1]}",)
            self.ask(Question(QuestionKind.LOAD, todo, how=self._ways(("from", "to"), at)))
        self._loaded = wanted

    def tap(self, name: str, contact: str, ground: str, baud: int) -> None:
        moves = (f"{name}: receive wire on {contact}", f"{name}: ground on {ground}; its transmit wire stays free")
        self.ask(Question(QuestionKind.TAP, moves, how=self._ways(("receive wire", "ground"), (contact, ground))))

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None) -> None:
        moves = [f"{name}: ground on {ground}, transmit wire on {send}, receive wire on {hear}: it will send"]
        moves += [f"bridge {bridge[0]} and {bridge[1]}"] if bridge else ["no bridge at the far connector yet"]
        ways = self._ways(("transmit wire", "receive wire"), (send, hear))
        self.ask(Question(QuestionKind.TAP, tuple(moves), how=ways))

    def loop_off(self, name: str) -> None:
        self.ask(Question(QuestionKind.TAP, (f"take {name} off, and the bridge at the far connector if it is there",)))


def wrong_answer(question: Question, typed: str) -> str:
    """What is wrong with an answer, in words; empty where it is one. The ways out of a question are raised."""
    word, _, rest = typed.partition(" ")
    match word.lower():
        case str() as said if said == SKIP and rest.strip():
            raise SkipAsked(rest.strip())
        case str() as said if said == SKIP:
            return "Say why: skip REASON."
        case str() as said if said == BACK and not rest:
            raise BackAsked
        case str() as said if said == QUIT and not rest:
            raise StopAsked
        case str() as said if said == ZERO and not rest and question.kind in _ZERO_MAY_BE_ASKED:
            raise ZeroAsked
    if not question.is_confirmed or typed.lower() in _DONE:
        return ""
    return "This wants no reading: press Enter when it is done."


class Following(Watcher):
    """Lets the person's side know which step is being done, and passes everything on."""

    def __init__(self, by_hand: ByHand, further: Watcher) -> None:
        self._by_hand = by_hand
        self._further = further

    def step(self, step: Step) -> None:
        self._by_hand.step = step
        self._further.step(step)

    def result(self, result: Result) -> None:
        self._by_hand.step = None
        self._further.result(result)

    def diagnosing(self, stage: Stage) -> None:
        self._by_hand.step = None
        self._further.diagnosing(stage)


class TypedMeter:
    """A Meter that a person reads: asks again, with the hint, until what was typed is a reading."""

    def __init__(self, by_hand: ByHand, spec: MeterSpec, who: str) -> None:
        self._by_hand = by_hand
        self._who = who
        self.spec = spec

    @property
    def identity(self) -> str:
        return f"typed by {self._who}"

    def ohms(self) -> Reading:
        """Ohms between the contacts that the leads are on."""
        return self.read("ohm", self._leads())

    def kelvin_ohms(self) -> Reading:
        """Ohms with four wires between the contacts that the clips are on."""
        return self.read(
            "ohm", self._leads(), "ohms as the meter shows them with four wires (Kelvin clips)", four_wire=True
        )

    def leads(self, why: str) -> list[Reading] | None:
        """What the meter shows with its leads together, several times in one line; None where it takes them off itself."""
        todo = (
            "touch the two leads together, off the harness, three times",
            f"ohms as the meter shows them each time, in one line (0.2 0.3 0.2); {REL} where the meter's own relative mode "
            "takes the leads off",
        )
        while True:
            typed = self._by_hand.ask(Question(QuestionKind.LEADS, todo, unit="ohm", why=why))
            if typed.lower() == REL:
                return None
            words = typed.replace(";", " ").split()
            if not words:
                why = f"Nothing was typed. Type what the meter shows, {REL}, or skip REASON."
                continue
            try:
                return [
                    parse_quantity(word, "ohm", spec=self.spec, by=self._who) for word in words[:_MOST_LEAD_READINGS]
                ]
            except InputError as wrong:
                why = f"{wrong.text}. {wrong.hint}".strip()

    def volts(self) -> Reading:
        """DC volts, red lead against black."""
        step = self._by_hand.step
        what = ""
        if step is not None and step.quantity is Quantity.OHMS:
            what = f"before ohms, DC volts: is the power off? At most {self._by_hand.near_zero_v:g} V either way"
        return self.read("V", self._leads(), f"{what} (profile limit near_zero_v)" if what else "")

    def read(self, unit: str, leads: bool, what: str = "", *, four_wire: bool = False) -> Reading:
        """A reading in `unit`, of the contacts that the leads are on or of the supply's own meter."""
        hands = self._by_hand
        red, black = (hands.red, hands.black) if leads else ("", "")
        todo = (f"red on {red}, black on {black}",) if leads else ()
        asked = Question(
            QuestionKind.READING, (*todo, what or f"{_SHOWN[unit]} as the meter shows them"), red, black, unit
        )
        if leads:
            asked = hands.with_access(asked)
        why = ""
        while True:
            typed = hands.ask(replace(asked, why=why))
            try:
                reading = parse_quantity(typed, unit, spec=self.spec, by=self._who)
            except InputError as wrong:
                why = f"{wrong.text}. {wrong.hint}".strip()
                continue
            if not four_wire or reading.state is not ReadingState.VALUE:
                return reading
            detail = {**reading.detail, "wires": 4}
            uncertainty = self.spec.four_wire_uncertainty(reading.value)
            return replace(reading, uncertainty=uncertainty, detail=detail)

    def close(self) -> None:
        """Nothing is open."""

    def _leads(self) -> bool:
        return bool(self._by_hand.red)


class HandSupply:
    """A supply that takes no commands: a person sets and switches it."""

    identity = "set and switched by hand"

    def __init__(self, by_hand: ByHand, meter: TypedMeter) -> None:
        self._by_hand = by_hand
        self._meter = meter
        self._volts = self._limit_a = 0.0
        self._on: bool | None = None  # not known until somebody has looked
        self._told = False  # that it may still be on

    def set(self, volts: float, limit_a: float) -> None:
        self._volts, self._limit_a = volts, limit_a

    def on(self, *, ramp: bool = False) -> None:
        todo = (
            f"set the supply to {self._volts:g} V, current limit {self._limit_a:g} A",
            "stand clear, then switch the supply on",
        )
        self._on, self._told = True, False  # from the moment that it is asked for
        self._by_hand.ask(Question(QuestionKind.SUPPLY, todo))

    def off(self) -> None:
        """Have it switched off, unless somebody has already said that it is."""
        if self._on is not False:
            self._by_hand.ask(Question(QuestionKind.SUPPLY, ("switch the supply off, and see that it is off",)))
        self._on = False

    def cut_off(self) -> str:
        """Nobody but the person sees that."""
        return ""

    def leave_off(self) -> None:
        """At the end of a stage or a session: asked for, and where nobody answers, said."""
        if not self._on or self._told:
            return
        try:
            self.off()
        except (StopAsked, BackAsked, SkipAsked):
            self._told = True
            self._by_hand.tell("The supply is switched by hand: see that it is OFF.")

    def amps(self) -> Reading:
        """What the supply's own ammeter shows."""
        return self._meter.read("A", leads=False, what="amperes as the supply shows them")


def supply_words(harness: Harness, state: BenchState) -> str:
    """Volts and current limit of the bench supply in a bench state, in words."""
    feed = main_feed(harness)
    if feed is None:
        return "though no feed of this profile is driven by it"
    return f"{feed.nominal_v:g} V, at most {current_limit_a(harness, state):.3g} A"


def person_at(
    bench: Bench, harness: Harness, person: Person, who: str
) -> tuple[ByHand, TypedMeter | None, HandSupply | None]:
    """What a person does on this bench: the moves always; readings and the supply where no instrument does it."""
    typed, commanded = not bench.has_meter, bench.config.supply is not None
    breakouts = Breakouts(harness, bench.config.leads, bench.clock.wall_ns)
    free = attending(person) if not typed else None
    spec, near_zero_v = bench.config.meter_spec, harness.limits.near_zero_v
    hands_free = HandsFree(free, spec, bench.clock.monotonic_ns, near_zero_v) if free is not None else None
    hands = ByHand(harness, person, typed=typed, commanded=commanded, breakouts=breakouts, hands_free=hands_free)
    meter = TypedMeter(hands, bench.config.meter_spec, who)
    return hands, meter if typed else None, None if commanded else HandSupply(hands, meter)
