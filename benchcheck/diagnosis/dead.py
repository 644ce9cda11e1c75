"""The dead stage: the fewest faults that explain every failed reading, and the probes that settle them.

Greedy: the hypothesis that explains most failed readings and contradicts none that passed is taken, the
network is changed by it, and what is still unexplained is looked at again. Where two stories fit alike
(two open runs, or one swap), the one with fewer mistakes is probed before it is believed.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Mapping, Sequence
from dataclasses import replace

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.candidates import candidates, vacant, wrong_contact
from benchcheck.diagnosis.hypothesis import OPEN_OHM, Hypothesis, apply_all, fits
from benchcheck.diagnosis.narrowing import is_bundle, is_follow_up, narrow
from benchcheck.harness.circuit import Circuit
from benchcheck.harness.model import Run
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import contact_key, lifted, ref_of
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk, SquawkKind
from benchcheck.words.step import Quantity, Stage
from benchcheck.words.verdict import Outcome

# One contradicted reading weighs against this many explained ones.
CONTRADICTION = 3.0
CONFIRMED_BY_PROBE = frozenset(
    {SquawkKind.SWAPPED_CONTACTS, SquawkKind.CROSSED_TX_RX, SquawkKind.MIRRORED_NUMBERING, SquawkKind.WRONG_CONTACT}
)


Evidence = tuple[Mapping[str, object], ...]
Diagnosing = Generator[Request, Reading, list[Squawk]]


def diagnose_dead(context: Context, results: Sequence[Result]) -> Diagnosing:
    """Explain the failed steps among `results`. Yields probes, is sent readings, returns squawks."""
    chosen: list[Hypothesis] = []
    refuted: set[tuple[str, tuple[str, ...], str]] = set()
    view = _View(context, [result for result in results if not _is_fine(result)])
    unexplained: list[Result] = []
    narrowed: set[str] = set()
    while True:
        rest = [r for r in view.failed(chosen) if r not in unexplained]
        if not rest:
            break
        best = view.best(chosen, rest, refuted)
        if best is None:
            unexplained += rest
            break
        if best.kind is SquawkKind.SHORT:
            wide = [r for r in rest if is_bundle(r) and r.step.id not in narrowed and view.explains(chosen, best, r)]
            if wide:
                # it was read against many at once: which of them it is, is probed before anything is believed
                narrowed.add(wide[0].step.id)
                view.add((yield from narrow(context, wide[0])))
                continue
        if best.kind in CONFIRMED_BY_PROBE:
            evidence = yield from _confirmed(context, chosen, best)
            if not evidence:
                refuted |= best.stories
                continue
            best = replace(best, evidence=evidence)
        if best.kind is SquawkKind.OPEN_RUN:
            run = context.harness.run(best.where[0])
            if run is not None:
                best = (yield from _landed_elsewhere(context, run)) or best
        chosen.append(best)
    return (
        [_squawk(view, chosen, hypothesis) for hypothesis in chosen]
        + [plain(result) for result in unexplained if not is_follow_up(result)]
        + out_of_band(results, chosen)
    )


def _is_fine(result: Result) -> bool:
    """Whether a reading was asked for with four wires: its milliohms are below what a story is told by."""
    return bool(result.step.settings.get("four_wire"))


def out_of_band(results: Sequence[Result], chosen: Sequence[Hypothesis]) -> list[Squawk]:
    """Squawks for runs whose resistance failed its band, where no fault that was found names the run."""
    told = {name for hypothesis in chosen for name in hypothesis.where}
    found = []
    for result in results:
        step, reading = result.step, result.reading
        if not _is_fine(result) or result.outcome is not Outcome.FAIL or told & set(step.subject):
            continue
        above = step.band is not None and step.band.high is not None and reading.value > step.band.high
        if reading.state is ReadingState.VALUE and above:
            text = f"{step.subject[0]} from {step.subject[1]} to {step.subject[2]} reads {reading.text}: a poor joint or crimp"
            kind = SquawkKind.HIGH_RESISTANCE
            found.append(Squawk(kind, step.subject[:1], step.stage.value, text, (step.id,), (reading_of(result),)))
        else:
            found.append(plain(result))
    return found


class _View:
    """The results against the network with some faults in it; networks are kept by bench state."""

    def __init__(self, context: Context, results: Sequence[Result]) -> None:
        self._context = context
        self.results = [
            r for r in results if r.step.quantity is Quantity.OHMS and r.reading.state is not ReadingState.NONE
        ]
        self._bad = [r for r in self.results if r.outcome is Outcome.FAIL]
        self._circuits: dict[tuple[tuple[object, ...], BenchState], Circuit] = {}
        self._hanging: dict[int, frozenset[str]] = {}
        self._by_piece: dict[frozenset[str], list[Result]] = {}
        self._places: dict[tuple[str, tuple[str, ...], str], frozenset[str]] = {}

    def add(self, results: Sequence[Result]) -> None:
        """Take in what was probed beside the plan."""
        self.results += results
        self._by_piece.clear()
        self._bad += [r for r in results if r.outcome is Outcome.FAIL]

    def explains(self, chosen: Sequence[Hypothesis], hypothesis: Hypothesis, result: Result) -> bool:
        """Whether a reading fits with one more fault and does not without it."""
        return self._explained([*chosen, hypothesis], result) and not self._explained(chosen, result)

    def failed(self, chosen: Sequence[Hypothesis]) -> list[Result]:
        """Failed steps that the chosen faults do not explain."""
        return [r for r in self._bad if not self._explained(chosen, r)]

    def best(
        self,
        chosen: Sequence[Hypothesis],
        rest: Sequence[Result],
        refuted: set[tuple[str, tuple[str, ...], str]],
    ) -> Hypothesis | None:
        before = {id(r) for r in self.results if self._explained(chosen, r)}
        best_score = 0.0
        best: list[tuple[Hypothesis, frozenset[int]]] = []
        for hypothesis in candidates(self._context, rest):
            if hypothesis.key in refuted:
                continue
            tried = [*chosen, hypothesis]
            gained = frozenset(id(r) for r in rest if self._explained(tried, r))
            if not gained or len(gained) / hypothesis.faults < best_score:
                continue  # can't win even if nothing speaks against it
            lost = sum(id(r) in before and not self._explained(tried, r) for r in self._in_reach(tried))
            score = len(gained) / hypothesis.faults - CONTRADICTION * lost
            if score > best_score:
                best, best_score = [(hypothesis, gained)], score
            elif score == best_score and best:
                best.append((hypothesis, gained))
        if not best:
            return None
        first, gained = best[0]
        return one_class([h for h, g in best if h.kind is first.kind and g == gained])

    def _explained(self, hypotheses: Sequence[Hypothesis], result: Result) -> bool:
        step = result.step
        hanging = self._hangs_at_red(result)
        if all(self._touched(h).isdisjoint(hanging) for h in hypotheses):
            # nothing is changed of what hangs at the red lead, so the reading is as planned
            hypotheses = []
            if step.black not in hanging:
                return fits(math.inf, result.reading)
        return fits(
            self.circuit(hypotheses, step.state).ohms(step.red, step.black),
            result.reading,
            coded=bool(step.state.coded),
        )

    def _in_reach(self, hypotheses: Sequence[Hypothesis]) -> list[Result]:
        """The results that any of these faults can change: what hangs at their red lead is touched by it."""
        if not self._by_piece:
            for result in self.results:
                self._by_piece.setdefault(self._hangs_at_red(result), []).append(result)
        touched = frozenset().union(*map(self._touched, hypotheses))
        return [r for piece, results in self._by_piece.items() if not piece.isdisjoint(touched) for r in results]

    def _hangs_at_red(self, result: Result) -> frozenset[str]:
        """Every contact that conducts to the red lead as planned."""
        if id(result) not in self._hanging:
            # what is read against a bundle is outside of it, so clips and plugs join nothing to it
            state = ALL_OPEN if is_bundle(result) else result.step.state
            self._hanging[id(result)] = self._context.circuit(state).component(result.step.red)
        return self._hanging[id(result)]

    def _touched(self, hypothesis: Hypothesis) -> frozenset[str]:
        """The contacts at which a fault changes the network."""
        if hypothesis.key not in self._places:
            edges = self._context.circuit(ALL_OPEN).edges
            found = {end for edge in hypothesis.add for end in (edge.a, edge.b)} | set(hypothesis.where_to.values())
            for name in hypothesis.remove | hypothesis.movers:
                if name in edges:
                    for end in (edges[name].a, edges[name].b):
                        found |= {end, lifted(name, end)}
            self._places[hypothesis.key] = frozenset(found)
        return self._places[hypothesis.key]

    def circuit(self, hypotheses: Sequence[Hypothesis], state: BenchState) -> Circuit:
        key = (tuple(h.key for h in hypotheses), state)
        if key not in self._circuits:
            self._circuits[key] = apply_all(hypotheses, self._context.circuit(state))
        return self._circuits[key]


def one_class(alike: Sequence[Hypothesis]) -> Hypothesis:
    """Faults of one kind that the readings can't tell apart, as one: it names every place that it may be in."""
    if len(alike) == 1:
        return alike[0]
    where = tuple(dict.fromkeys(name for hypothesis in alike for name in hypothesis.where))
    texts = list(dict.fromkeys(hypothesis.text for hypothesis in alike))
    what, colon, _ = texts[0].partition(": ")
    if colon and all(text.startswith(what + colon) for text in texts):
        texts = [texts[0], *(text.removeprefix(what + colon) for text in texts[1:])]
    more = f", or at {len(texts) - 3} more places" if len(texts) > 4 else ""
    shown = texts[:3] if more else texts
    text = f"{', or '.join(shown)}{more} (the readings fit each)" if len(texts) > 1 else texts[0]
    return replace(alike[0], where=where, text=text, alike=frozenset(hypothesis.key for hypothesis in alike))


def _confirmed(
    context: Context, chosen: Sequence[Hypothesis], hypothesis: Hypothesis
) -> Generator[Request, Reading, Evidence]:
    """Probe where the story says that a conductor must now be found, and where it would not be without it."""
    without = apply_all(chosen, context.circuit(ALL_OPEN))
    with_it = hypothesis.apply(without)
    runs = [run for run in context.harness.runs if run.wire in hypothesis.movers]
    found: list[Mapping[str, object]] = []
    for run in runs:
        for end in run.ends:
            far = run.b if end == run.a else run.a
            to = hypothesis.where_to.get(end)
            if to is None or not far or not _far_less(with_it.ohms(far, to), without.ohms(far, to)):
                continue
            reading = yield Request(Quantity.OHMS, ALL_OPEN, far, to)
            if reading.state is ReadingState.NONE:
                continue
            if not fits(with_it.ohms(far, to), reading):
                return ()
            found.append(probe_of(far, to, reading))
            if len(found) == 2:
                return tuple(found)
    return tuple(found)


def probe_of(red: str, black: str, reading: Reading) -> dict[str, object]:
    """A follow-up as it stands behind a squawk."""
    value = None if math.isnan(reading.value) else reading.value
    name = f"follow_up:{red}:{black}"
    ends = {"step": name, "red": red, "black": black}
    return ends | {"text": reading.text, "value": value, "unit": reading.unit, "low": None, "high": None}


def _far_less(with_ohm: float, without_ohm: float) -> bool:
    """Whether a probe would settle it: connected with the fault, and plainly less so without it."""
    return with_ohm < OPEN_OHM and without_ohm > 5.0 + 2 * with_ohm


def _landed_elsewhere(context: Context, run: Run) -> Generator[Request, Reading, Hypothesis | None]:
    """Walk the vacant contacts at each end of an open run: its conductor may sit in one of them."""
    for end, far in ((run.b, run.a), (run.a, run.b)):
        for contact in sorted(vacant(context, ref_of(end)), key=contact_key):
            reading = yield Request(Quantity.OHMS, ALL_OPEN, far, contact)
            if reading.state is ReadingState.VALUE and reading.value < OPEN_OHM:
                return replace(wrong_contact(run, end, contact), evidence=(probe_of(far, contact, reading),))
    return None


def _squawk(view: _View, chosen: Sequence[Hypothesis], hypothesis: Hypothesis) -> Squawk:
    others = [h for h in chosen if h is not hypothesis]
    behind = view.failed(others) or [r for r in view.failed([]) if r not in view.failed([hypothesis])]
    return Squawk(
        hypothesis.kind,
        hypothesis.where,
        Stage.DEAD.value,
        hypothesis.text,
        tuple(r.step.id for r in behind if not is_follow_up(r)),
        (*(reading_of(r) for r in behind), *hypothesis.evidence),
    )


def plain(result: Result) -> Squawk:
    """A squawk for a failed step that nothing known explains."""
    step = result.step
    text = f"{step.question} No: {result.reading.text}; none of the faults known to this tool fits"
    return Squawk(SquawkKind.UNEXPLAINED, step.subject, step.stage.value, text, (step.id,), (reading_of(result),))


def reading_of(result: Result) -> dict[str, object]:
    """A reading behind a squawk, with where it was taken and what it should have been."""
    step, band = result.step, result.step.band
    return {
        "step": step.id,
        "red": step.red,
        "black": step.black,
        "text": result.reading.text,
        "value": None if math.isnan(result.reading.value) else result.reading.value,
        "unit": result.reading.unit,
        "low": band.low if band else None,
        "high": band.high if band else None,
    }
