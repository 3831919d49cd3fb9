"""What a reader of the protocol would object to: nothing here stops the study."""

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from listening.design import comparison
from listening.design.dealt_trial import strikes
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.planning import (
    approximate,
    budget,
    covariate_criticism,
    effect,
    exclusion_rates,
    family_alpha,
    level_criticism,
    level_plan,
    panel_size,
    reached_end,
    session_hearings,
    stand_in,
)
from listening.planning.budget import Budget
from listening.records.forms import toml_lines
from listening.records.forms.form import place
from listening.records.forms.problem import Problem
from listening.records.forms.text import read_text
from listening.records.forms.toml_lines import Path as KeyPath
from listening.records.kinds import tasks
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures
from listening.records.sounds.recordings_table import Recording
from stats.deciding import listeners_outside, verdict

Objection = tuple[KeyPath, str, str]  # key, found, wanted

FEWEST_TRIALS = 12  # a listener's own slope from fewer answers is mostly noise: our own rule
LONGEST_STRETCH_MIN = 15.0  # between breaks; our own rule
EASILY_HEARD = 0.75  # share of choices that a panel ought to find
LIKELY = 0.5
SURE = 0.8  # chance that two designs which are the same are found so
FEW_STRIKES = 3  # of a sound, below which a verdict on it costs much power: docs/statistics.md
MOST_HONEST_LOST = 0.05  # by one rule of exclusion; our own rule
MOST_ANSWERS = 60  # of one pair by one listener


def criticise(
    protocol: Protocol,
    recordings: Sequence[Recording],
    path: Path,
    *,
    measures: Measures | None = None,
    own: Budget | None = None,
) -> list[Problem]:
    """Every objection as a caution, with its line.

    Parameters
    ----------
    path : of the protocol file
    measures : what `measure` found, if it was run: covariates are looked at then
    own : the trial budget, if it is known: dealing for it takes long
    """
    manifest = stand_in.manifest(protocol, list(recordings), measures)
    found = [
        *_length(protocol, manifest, own),
        *_few_trials(protocol, manifest),
        *_questions(protocol, manifest),
        *level_criticism.expected(protocol),
        *_unplanned(protocol),
        *_uncalibrated(protocol, recordings),
        *_looks(protocol),
        *_withdrawals(protocol),
        *_room(protocol),
        *_sessions(protocol, manifest),
        *_exclusions(protocol, manifest),
        *(_confounded(protocol, manifest) if measures is not None else ()),
        *(_unmeasured_ratios(protocol, measures) if measures is not None else ()),
    ]
    at = toml_lines.lines(read_text(path))
    return [
        Problem(str(path), place(key), said, wanted, toml_lines.line_of(at, key), "caution")
        for key, said, wanted in found
    ]


def _length(protocol: Protocol, manifest: Manifest, own: Budget | None) -> Iterator[Objection]:
    try:
        found = own or budget.of_study(protocol, manifest)
    except StudyError as error:
        yield ("blocks",), "blocks that cannot be dealt", str(error)
        return
    minutes = found.at_once_s / 60
    if minutes > budget.LONGEST_MIN and found.sessions_s:
        more = math.ceil(sum(found.sessions_s) / 60 / budget.LONGEST_MIN)
        yield (
            ("sessions", "number"),
            f"a session of {minutes:.0f} minutes",
            f"at most {budget.LONGEST_MIN:.0f}: {more} sessions, or fewer hearings",
        )
    elif minutes > budget.LONGEST_MIN:
        cut = "; ".join(
            f"sitting {i + 1}: {', '.join(names)}" for i, names in enumerate(budget.sittings(found))
        )
        cut += "; or several sessions (sessions.number)"
        yield ("blocks",), f"a sitting of {minutes:.0f} minutes", f"at most {budget.LONGEST_MIN:.0f}: {cut}"
    trials = sum(part.trials for part in found.parts)
    own_s = sum(part.seconds for part in found.parts) / max(trials, 1)
    stretch = min(protocol.sitting.break_every_trials, trials) * own_s / 60
    if stretch > LONGEST_STRETCH_MIN:
        every = int(LONGEST_STRETCH_MIN * 60 / own_s)
        yield (
            ("sitting", "break_every_trials"),
            f"{stretch:.0f} minutes between breaks",
            f"at most {LONGEST_STRETCH_MIN:.0f} minutes: break_every_trials = {every}",
        )


def _sessions(protocol: Protocol, manifest: Manifest) -> Iterator[Objection]:
    """A rule for missed sessions that leaves out everybody or nobody, and parts that only one session has."""
    rule = protocol.sessions
    if rule.number < 2 or rule.met_at_least is None:
        return
    for i, asked in enumerate(protocol.questions):
        met = session_hearings.fewest(protocol, manifest, asked)
        if met is None:
            continue
        if rule.met_at_least > met.whole:
            yield (
                ("sessions", "met_at_least"),
                f"{rule.met_at_least}, but the pairs of `{asked.id}` are met {met.whole} times in all",
                f"at most {met.whole}, or more hearings",
            )
        elif rule.met_at_least > met.without_last:
            yield (
                ("sessions", "met_at_least"),
                f"{rule.met_at_least}, but who misses the last session met the pairs of `{asked.id}` as few "
                f"as {met.without_last} times",
                f"{met.without_last} to keep such listeners; as it stands some or all of them are left out "
                "of that question",
            )
        if met.sessions < 2:
            yield (
                ("questions", i),
                f"`{asked.id}` is met in one session by every listener",
                "its block without `part`, where a change from session to session is to be seen",
            )


def _few_trials(protocol: Protocol, manifest: Manifest) -> Iterator[Objection]:
    for i, block in enumerate(protocol.blocks):
        if not _is_compared(protocol, block.attribute) or block.of_all_questions:
            continue  # level as heard is bounded by its share: nobody's own slope is wanted
        try:
            slots = comparison.of_slots(protocol, manifest, block, 1, draws=Draws.open_to_all(protocol.seed))
        except StudyError:
            continue
        if len(slots[0]) < FEWEST_TRIALS:
            yield (
                ("blocks", i, "repeats"),
                f"{len(slots[0])} trials a listener on `{block.attribute}`, {block.presentation}",
                f"at least {FEWEST_TRIALS}: with fewer nobody's own effect can be told from chance",
            )


def _questions(protocol: Protocol, manifest: Manifest) -> Iterator[Objection]:
    for i, question in enumerate(protocol.questions):
        if not _is_compared(protocol, question.attribute):
            continue
        attribute = protocol.attribute(question.attribute)
        if question.presentation == AS_RECORDED and not attribute.about_level:
            yield (
                ("questions", i, "presentation"),
                "`as recorded`",
                "matched stimuli: as recorded, an effect may be nothing but level",
            )
        try:
            yield from _decidable(protocol, manifest, i, question)
        except (StudyError, ValueError):
            continue


def _decidable(protocol: Protocol, manifest: Manifest, i: int, question: Question) -> Iterator[Objection]:
    """Whether the planned panel can decide a question, by formula and stated defaults."""
    protocol = protocol.of_stage(question.stage)
    listeners, assumed = protocol.panel.listeners, Assumed()
    made = panel_size.trials(protocol, manifest, question, listeners=listeners)
    pairs = {frozenset(made.conditions[c] for c in pair) for pair in made.condition}
    if any(frozenset(pair) not in pairs for pair in question.contrast.pairs):
        yield (
            ("questions", i, "contrast"),
            "a pair that no listener compares directly",
            "planned_too = true in its block, or more partners",
        )
    if any(frozenset(pair) not in pairs for pair in question.contrast.pairs):
        return
    alpha = family_alpha.deciding_alpha(protocol, question)
    same = question.of_kind.is_equivalence
    if same:  # every listener at even chances: what must be found so
        assumed = Assumed(spread_listeners=0.0)
    true = effect.of_share(0.5 if same else EASILY_HEARD, assumed)
    level = level_plan.of_question(protocol, manifest, question)
    near = approximate.power(made, listeners, true.logit, alpha=alpha, assumed=assumed, level=level)
    target = SURE if same else LIKELY
    if near < target:
        told = approximate.remedies(
            made, listeners, true.logit, alpha=alpha, assumed=assumed, target=target, level=level
        )
        if same:
            found = (
                f"an equivalence margin of {question.smallest_effect:g} ({question.unit}): two designs that "
                f"are the same would be called so with a chance of {near:.2f}, with {listeners} listeners"
            )
        else:
            found = f"a chance of {near:.2f} to find a design {true.said}, with {listeners} listeners"
        if weak := approximate.weakest_pair(made, listeners, true.logit, assumed):
            found += f", by the weakest of its pairs, {weak[0]} against {weak[1]}"
        yield (
            ("questions", i, *(("smallest_effect",) if same else ())),
            found,
            f"{', or '.join([*told, 'a wider margin' if same else 'a smaller family'])} (see listening size)",
        )
    if same and question.unit == "share":
        yield from _few_outside(i, question, made, listeners, alpha)
    if 1 < min(_strikes_met(made)) < FEW_STRIKES:
        yield (
            ("questions", i, "contrast"),
            f"{min(_strikes_met(made))} strikes of a sound",
            f"at least {FEW_STRIKES}: with two a verdict hangs on a single degree of freedom, and what three "
            "would show is often left undecided",
        )


def _strikes_met(made: panel_size.Trials) -> tuple[int, ...]:
    return approximate.planned_pair(made, 2, 0.0, Assumed()).strikes


def _few_outside(
    i: int, question: Question, made: panel_size.Trials, listeners: int, alpha: float
) -> Iterator[Objection]:
    """Whether so many answers of each listener can show that few hear a difference of their own."""
    asked = [set(pair) for pair in question.contrast.pairs]
    direct = [{made.conditions[c] for c in pair} in asked for pair in made.condition]
    answers = round(sum(direct) / listeners)
    delta, limit = question.smallest_effect - 0.5, question.split_limit

    def chance(n: int) -> float:
        return listeners_outside.power(listeners, n, delta=delta, limit=limit, alpha=alpha)

    if answers and chance(answers) < SURE:
        enough = next((n for n in range(answers, MOST_ANSWERS + 1, 2) if chance(n) >= SURE), None)
        wanted = f"{enough} hearings of the pair" if enough else "more listeners, or a wider margin"
        yield (
            ("questions", i, "split_limit"),
            f"{answers} hearings of the pair: that fewer than {100 * limit:g} in 100 listeners hear a "
            f"difference of their own would be shown with a chance of {chance(answers):.2f}",
            f"{wanted}, or a larger split_limit",
        )


def _unplanned(protocol: Protocol) -> Iterator[Objection]:
    planned = {(q.attribute, q.presentation) for q in protocol.questions}
    for i, block in enumerate(protocol.blocks):
        if (block.attribute, block.presentation) not in planned and not block.of_all_questions:
            yield (
                ("blocks", i),
                f"no question on `{block.attribute}`, {block.presentation}",
                "a planned question, or know that nothing may be claimed from these answers",
            )


def _uncalibrated(protocol: Protocol, recordings: Sequence[Recording]) -> Iterator[Objection]:
    if all(r.pascal_per_full_scale is not None for r in recordings):
        return
    for i, question in enumerate(protocol.questions):
        if protocol.attribute(question.attribute).about_level and question.presentation == AS_RECORDED:
            yield (
                ("questions", i),
                "a claim about loudness from recordings without calibration",
                "pascal_per_full_scale in the recordings table; without it no sone and no dB SPL may be said",
            )


def _looks(protocol: Protocol) -> Iterator[Objection]:
    early = [n for n in protocol.stopping.looks if n < verdict.MINIMUM_LISTENERS]
    if early:
        yield (
            ("stopping", "looks"),
            f"a look at {early[0]} listeners",
            f"at least {verdict.MINIMUM_LISTENERS}: with fewer there is no verdict to be had",
        )


def _withdrawals(protocol: Protocol) -> Iterator[Objection]:
    if protocol.stopping.withdrawn is None and protocol.stopping.fewest is None:
        yield (
            ("stopping", "withdrawn"),
            "nothing said of who finished and withdraws: after one withdrawal the answers stay closed",
            'withdrawn = "count" (the end is reached all the same) or "replace" (another listener sits)',
        )


def _room(protocol: Protocol) -> Iterator[Objection]:
    """Whether every stage ends although a listener stops early: else the answers stay closed for ever."""
    yield from _room_of(protocol, ("stopping", "fewest") if protocol.stopping.fewest else ("panel",))
    whole = protocol.model_copy(
        update={"stopping": protocol.stopping.model_copy(update={"fewest": None, "looks": []})}
    )
    for i, late in enumerate(protocol.stages):
        yield from _room_of(whole.of_stage(late.stage), ("stages", i))


def _room_of(protocol: Protocol, key: KeyPath) -> Iterator[Objection]:
    chance = reached_end.chance(protocol)
    if chance >= SURE:
        return
    needed = protocol.stopping.fewest or protocol.panel.listeners
    places = protocol.panel.listeners + protocol.panel.spare
    spare = reached_end.spare_for(protocol, SURE)
    said = "panel.spare" if key[0] != "stages" else "spare"
    yield (
        key,
        f"{places} places for an end that needs {needed} listeners: if one in ten stops early, the end is "
        f"reached with a chance of {chance:.2f}, else the answers stay closed",
        f"{said} = {spare} (a chance of {SURE:g}), or `stopping.fewest`: how many are enough",
    )


def _exclusions(protocol: Protocol, manifest: Manifest) -> Iterator[Objection]:
    """Rules that take too many honest listeners, or hardly anybody who answers at random."""
    try:
        rates = exclusion_rates.of_protocol(protocol, manifest)
    except StudyError:  # blocks that cannot be dealt: told elsewhere
        return
    for one in rates:
        if one.n == 0:
            yield ("exclusions",), f"{one.rule}: no trial to judge by", "such trials, or no such rule"
        elif one.honest is not None and one.honest > MOST_HONEST_LOST:
            yield (
                ("exclusions",),
                f"{one.rule} would leave out {100 * one.honest:.0f} in 100 honest listeners ({one.assumed})",
                "a wider limit, or more such trials",
            )
    caught = [one.at_random for one in rates if one.at_random is not None and one.n > 0]
    if caught and max(caught) < SURE:
        yield (
            ("exclusions",),
            f"a listener who answers at random is left out with a chance of {max(caught):.2f}",
            "more control pairs or repeats, or know that guessing pulls shares towards even chances",
        )


def _unmeasured_ratios(protocol: Protocol, measures: Measures) -> Iterator[Objection]:
    """A ratio claimed of a metric that no recording has a value of."""
    known = {
        (one.condition, name)
        for one in measures.recordings
        for name, value in one.measures.items()
        if value is not None
    }
    for i, question in enumerate(protocol.questions):
        missing = [c for c in question.contrast.conditions if (c, question.metric) not in known]
        if question.claimed_ratio is not None and missing:
            yield (
                ("questions", i, "metric"),
                f"`{question.metric}` was not measured on {', '.join(missing)}: no ratio can be claimed",
                "a metric that `measure` finds (calibrate the recordings for sone), or no `claimed_ratio`",
            )


def _confounded(protocol: Protocol, manifest: Manifest) -> Iterator[Objection]:
    """Covariates that go together over the pairs compared, so that neither is known to be the cause."""
    try:
        found = covariate_criticism.of_study(protocol, manifest)
    except (StudyError, ValueError):  # a metric that was not measured: the preview itself says which
        return
    for preview in found:
        if len(preview.pairs) <= len(preview.varying):
            continue  # so few pairs explain nothing, and nobody will try
        told = covariate_criticism.advice(preview, strikes(manifest, preview.presentation))
        if told:
            wanted = "; ".join(line.strip() for line in told[1:]) or "no claim about the cause"
            yield ("covariates",), told[0], wanted


def _is_compared(protocol: Protocol, attribute: str) -> bool:
    return tasks.named(protocol.attribute(attribute).task).family == "choice"
