"""Findings as tables: the text of every cell, rounded; nothing computed."""

from dataclasses import dataclass

from listening.records import metric_register
from listening.records.findings import Against, Findings, StrengthSet, SuperlativeFinding
from listening.records.findings_question import LevelCheck, QuestionFinding
from listening.records.findings_study import ConditionMeasure
from listening.report import rounding
from listening.report.page import course
from listening.report.rounding import in_hundred, limits, number, p_value, signed

Row = tuple[str, ...]
CONDITIONS_A_TABLE = 8


@dataclass(frozen=True)
class Table:
    """Caption, head and cells; `numeric` and `mono` number the columns set that way."""

    caption: str
    head: Row
    rows: tuple[Row, ...]
    numeric: frozenset[int] = frozenset()
    mono: frozenset[int] = frozenset()


def effects(found: Findings) -> Table:
    """Every planned contrast as a share of choices, and in decibels of level."""
    head = (
        "question",
        "verdict",
        "chosen in 100",
        "limits",
        "covers",
        "p",
        "worth, dB",
        "limits, dB",
    )
    compared = [q for q in found.questions if not q.of_kind.by_right_answers and q.unit != "points"]
    return Table("Effects", head, tuple(map(_effect, compared)), frozenset(range(2, 8)))


def rated(found: Findings) -> Table:
    """Every planned question on ratings, in points of the scale."""
    head = (
        "question",
        "verdict",
        "task",
        "points",
        "limits",
        "covers",
        "p",
        "spread of listeners, points",
        "spread of strikes, points",
    )
    rows = tuple(
        (
            q.id,
            q.word,
            q.task,
            signed(q.points.value if q.points else None),
            limits(q.points),
            rounding.level(q.points.coverage) if q.points else "–",
            _p(q.p),
            number(q.spread_listeners),
            number(q.spread_stimuli),
        )
        for q in found.questions
        if q.unit == "points"
    )
    return Table("Rated", head, rows, frozenset(range(3, 9)))


def discriminated(found: Findings) -> Table:
    """Every planned question whether two things can be told apart."""
    head = (
        "question",
        "verdict",
        "task",
        "right",
        "called different though alike",
        "heard, in 100",
        "limits",
        "covers",
        "p",
        "by guessing, in 100",
        "limits by",
    )
    asked = [q for q in found.questions if q.of_kind.by_right_answers]
    return Table("Discrimination", head, tuple(map(_discriminated, asked)), frozenset(range(3, 10)))


def _discriminated(q: QuestionFinding) -> Row:
    heard = q.share_not_guessed
    return (
        q.id,
        q.word,
        q.task,
        f"{q.n_direct_more} of {q.n_direct}",
        "–" if q.n_alike is None else f"{q.n_false} of {q.n_alike}",
        number(100 * heard.value, 0) if heard else "–",
        _hundred_limits(heard),
        rounding.level(heard.coverage) if heard else "–",
        _p(q.p),
        in_hundred(q.guess),
        q.limits_by,
    )


def behind(found: Findings) -> Table:
    """What each planned contrast rests on."""
    head = (
        "question",
        "listeners",
        "answers in the model",
        "direct, chosen of",
        "strikes each",
        "degrees of freedom",
        "limits by",
    )
    rows = tuple(
        (
            q.id,
            str(q.n_listeners),
            str(q.n_answers),
            f"{q.n_direct} ratings" if q.unit == "points" else f"{q.n_direct_more} of {q.n_direct}",
            str(q.stimuli_per_condition),
            number(q.df, 0),
            q.limits_by or "–",
        )
        for q in found.questions
    )
    return Table("Behind the effects", head, rows, frozenset(range(1, 6)))


def counts(found: Findings) -> Table:
    """What a table collected elsewhere holds of each question."""
    rows = tuple(
        (q.id, str(q.n_listeners or "–"), f"{q.n_direct_more} of {q.n_direct}") for q in found.questions
    )
    return Table(
        "Counts", ("question", "listeners", "chosen, of direct comparisons"), rows, frozenset({1, 2})
    )


def spread(found: Findings) -> Table:
    """How listeners and strikes differ on each planned contrast."""
    head = (
        "question",
        "average listener, in 100",
        "other way, in 100 listeners",
        "spread of listeners",
        "spread of strikes",
    )
    rows = tuple(
        (
            q.id,
            in_hundred(q.share_average_listener),
            in_hundred(q.share_other_way) if q.of_kind.has_direction else "–",
            number(q.spread_listeners),
            number(q.spread_stimuli),
        )
        for q in found.questions
        if q.unit != "points"
    )
    return Table("How listeners and strikes differ, spreads in log-odds", head, rows, frozenset(range(1, 5)))


def _effect(q: QuestionFinding) -> Row:
    worth = q.level_equivalent
    has_worth = worth is not None and worth.db is not None
    return (
        q.id,
        q.word,
        in_hundred(q.share.value if q.share else None),
        f"{in_hundred(q.share.lower)} to {in_hundred(q.share.upper)}" if q.share else "–",
        rounding.level(q.share.coverage) if q.share else "–",
        _p(q.p),
        signed(worth.db, 1) if worth and has_worth else "none",
        f"{number(worth.lower_db, 1)} to {number(worth.upper_db, 1)}" if worth and has_worth else "–",
    )


def sensitivity(found: Findings) -> Table:
    """Each question looked at in other ways."""
    rows = [
        (
            q.id,
            one.name,
            one.word or "cannot bear it",
            "–" if one.agrees is None else "yes" if one.agrees else "no",
            *_on_scale(one.estimate, one.lower, one.upper, "own" if _own_scale(q) else one.unit),
            _p(one.p),
            str(one.n_listeners or "–"),
            one.note,
        )
        for q in found.questions
        for one in q.sensitivity
    ]
    head = (
        "question",
        "way",
        "would say",
        "agrees",
        "chosen in 100",
        "limits",
        "p",
        "listeners",
        "note",
    )
    made = Table("The same questions in other ways", head, tuple(rows), frozenset({4, 5, 6, 7}))
    return _without_empty_note(made)


def level_checks(found: Findings) -> Table:
    """The planned contrasts with level taken in every way."""
    rows = [
        (
            q.id,
            metric_register.named(one.metric).name,
            one.slope_at,
            signed(one.slope_logit_per_db, 3) if one.slope_at != "monotony" else "–",
            signed(one.residual_db, 2),
            number(one.control_gain_db, 1),
            in_hundred(one.control_share),
            *_on_scale(one.estimate, one.lower, one.upper, _level_unit(q, one)),
            one.word,
        )
        for q in found.questions
        for one in q.level_checks
        if one.slope_at != "none"
    ]
    head = (
        "question",
        "level as",
        "slope at",
        "log-odds per dB",
        "residual, dB",
        "control pairs’ gain, dB",
        "level alone at most, in 100",
        "chosen in 100",
        "limits",
        "would say",
    )
    return Table("Level taken in every way", head, tuple(rows), frozenset(range(3, 9)))


def strengths(found: StrengthSet) -> Table:
    """Strengths of one attribute and presentation."""
    ordered = sorted(found.strengths, key=lambda s: -s.strength.value)
    ties = any(s.n_no_difference for s in ordered)
    rows = tuple(
        (
            s.label,
            rounding.in_hundred_of_logit(s.strength.value, 1),
            rounding.shares_of(s.strength),
            str(s.n_chosen),
            *((str(s.n_no_difference),) if ties else ()),
            str(s.n),
        )
        for s in ordered
    )
    caption = f"Strengths: {found.attribute}, {found.presentation}"
    head = (
        "condition",
        "chosen in 100, against the set’s average",
        "limits",
        "times chosen",
        *(("no difference",) if ties else ()),
        "times heard",
    )
    return Table(caption, head, rows, frozenset(range(1, len(head))))


def slopes(found: Findings) -> Table:
    """What one decibel of level alone does to each answer."""
    rows = tuple(
        (
            s.attribute,
            signed(s.slope.value if s.slope else None, 3),
            limits(s.slope, 3),
            "–" if s.bend is None else signed(s.bend, 3),
            "–" if s.linearity_p is None else p_value(s.linearity_p).removeprefix("= "),
            s.source,
            str(s.n_answers),
            str(s.n_listeners),
        )
        for s in found.level_slopes
    )
    head = (
        "answer to",
        "log-odds per dB",
        "limits",
        "change per dB",
        "straight? p",
        "from",
        "answers",
        "listeners",
    )
    caption = (
        f"Level slope with {rounding.level(found.method.slope_coverage)} limits, and whether one slope holds "
        "at every size of difference"
    )
    return Table(caption, head, rows, frozenset({1, 2, 3, 4, 6, 7}))


def side_by_side(found: Findings) -> Table:
    """Planned contrasts under both presentations, without level correction."""
    rows = tuple(
        (
            one.question,
            in_hundred(rounding.as_share(one.as_recorded.value if one.as_recorded else None)),
            rounding.shares_of(one.as_recorded),
            in_hundred(rounding.as_share(one.matched.value if one.matched else None)),
            rounding.shares_of(one.matched),
            in_hundred(one.explained_by_level.value) if one.explained_by_level else "left open",
            _hundred_limits(one.explained_by_level),
            one.note,
        )
        for one in found.side_by_side
    )
    head = (
        "question",
        "as recorded",
        "limits",
        "matched",
        "limits",
        "gone with level, in 100",
        "limits",
        "note",
    )
    made = Table(
        "Planned contrasts as recorded and matched, chosen in 100", head, rows, frozenset({1, 2, 3, 4, 5, 6})
    )
    return _without_empty_note(made)


def explanations(found: Findings) -> Table:
    """Slopes on measured properties."""
    rows: list[Row] = [
        (
            f"{e.attribute}, {e.presentation}",
            s.name,
            metric_register.named(s.metric).name,
            s.per,
            signed(s.slope.value),
            limits(s.slope),
            _p(s.p),
            signed(s.alone.value if s.alone else None),
            limits(s.alone),
            e.note,
        )
        for e in found.explanations
        for s in e.slopes
    ]
    head = (
        "answers",
        "property",
        "measured as",
        "step",
        "together",
        "limits",
        "p",
        "alone",
        "limits",
        "note",
    )
    made = Table("Log-odds for one step of each property", head, tuple(rows), frozenset({4, 5, 6, 7, 8}))
    return _without_empty_note(made)


def superlative(one: SuperlativeFinding) -> Table:
    """Every comparison of a planned superlative."""
    rows = tuple(
        (a.than_label, a.word, _on_scale(a.estimate, None, None, a.unit)[0], _lower(a)) for a in one.against
    )
    head = ("against", "verdict", "chosen in 100", "lower limit")
    return Table(f"{one.id}: every comparison", head, rows, frozenset({2, 3}))


def _lower(a: Against) -> str:
    share = a.lower if a.unit == "share" else rounding.as_share(a.lower)
    return "no limit" if share is None else in_hundred(share)


def listeners(found: Findings) -> Table:
    """The panel and what the screening saw."""
    rows = tuple(
        (
            one.listener + (" (simulated)" if one.simulated else ""),
            str(one.n_answers),
            "–" if one.controls_asked is None else f"{one.controls_right} of {one.controls_asked}",
            in_hundred(one.first_share),
            number(one.median_response_s, 1),
            in_hundred(one.repeats_agreed),
            "; ".join(one.flags),
            one.excluded_because or "no",
        )
        for one in found.panel.listeners
    )
    head = (
        "listener",
        "answers",
        "control pairs right",
        "first chosen, in 100",
        "median time, s",
        "repeats alike, in 100",
        "remarks",
        "excluded",
    )
    return Table("Panel", head, rows, frozenset({1, 2, 3, 4, 5}))


def conditions(found: Findings) -> tuple[Table, ...]:
    """Measured values, one metric a row; a table for each handful of conditions, so that it fits on paper."""
    cell = {(c.condition, c.metric): c for c in found.conditions}
    label = {c.condition: c.label for c in found.conditions}
    metrics = list(dict.fromkeys(c.metric for c in found.conditions))
    names = list(label)
    made = []
    for start in range(0, len(names), CONDITIONS_A_TABLE):
        part = names[start : start + CONDITIONS_A_TABLE]
        rows = tuple(
            (metric_register.named(metric).heading, *(_measured(cell.get((name, metric))) for name in part))
            for metric in metrics
        )
        head = ("measured", *(label[name] for name in part))
        caption = f"Measured: {label[part[0]]} to {label[part[-1]]}" if len(part) > 1 else "Measured"
        made.append(Table(caption, head, rows, frozenset(range(1, len(head)))))
    return tuple(made)


def _measured(one: ConditionMeasure | None) -> str:
    """Mean and expanded uncertainty."""
    if one is None:
        return "–"
    decimals = metric_register.named(one.metric).decimals
    mean = number(one.mean, decimals)
    if one.expanded_uncertainty is None:
        return mean
    return f"{mean} ± {number(one.expanded_uncertainty, decimals)}"


def stimuli(found: Findings) -> Table:
    """Every stimulus as it was played."""
    listed = [m for m in ("laf_max_db", "lae_db", "centroid_hz", "t60_s") if _has(found, m)]
    rows = tuple(
        (
            s.stimulus,
            s.presentation,
            signed(s.gain_db, 2),
            signed(s.residual_db, 3),
            *(number(s.after.get(m), metric_register.named(m).decimals) for m in listed),
            s.digest[:12],
        )
        for s in found.matching.stimuli
    )
    head = (
        "stimulus",
        "presentation",
        "gain, dB",
        "residual",
        *(metric_register.named(m).heading for m in listed),
        "hash",
    )
    n = len(head)
    return Table("Stimuli as played", head, rows, frozenset(range(2, n - 1)), frozenset({n - 1}))


def hashes(found: Findings) -> Table:
    """What ties the page to its data."""
    digests = found.digests.model_dump()
    rows = [*course.rows(found), *((name, value) for name, value in digests.items() if value)]
    rows += list(found.sources.items())
    rows += [(f"version of {name}", value) for name, value in found.method.versions.items()]
    return Table("SHA-256 and versions", ("of", "value"), tuple(rows), mono=frozenset({1}))


def _without_empty_note(table: Table) -> Table:
    """The table without its last column if no row has anything there."""
    if any(row[-1] for row in table.rows):
        return table
    rows = tuple(row[:-1] for row in table.rows)
    return Table(table.caption, table.head[:-1], rows, table.numeric, table.mono)


def _p(p: float | None) -> str:
    """A p-value under a heading that says p."""
    return p_value(p).removeprefix("= ")


def _has(found: Findings, metric: str) -> bool:
    return any(s.after.get(metric) is not None for s in found.matching.stimuli)


def _own_scale(q: QuestionFinding) -> bool:
    """Whether a question’s numbers are points of a scale or shares heard, and no choices."""
    return q.unit == "points" or q.of_kind.by_right_answers


def _level_unit(q: QuestionFinding, one: LevelCheck) -> str:
    return "share" if one.slope_at == "monotony" else "own" if _own_scale(q) else "logit"


def _on_scale(value: float | None, lower: float | None, upper: float | None, unit: str) -> tuple[str, str]:
    """An estimate and its limits as choices in 100; what is on a scale of its own stays as it is."""
    if unit == "own":
        return signed(value), _pair(lower, upper)
    shares = [one if unit == "share" else rounding.as_share(one) for one in (value, lower, upper)]
    if shares[1] is None and shares[2] is None:
        return in_hundred(shares[0]), "–"
    low, high = ("no limit" if one is None else in_hundred(one) for one in shares[1:])
    return in_hundred(shares[0]), f"{low} to {high}"


def _pair(lower: float | None, upper: float | None) -> str:
    if lower is None and upper is None:
        return "–"
    low, high = ("no limit" if bound is None else number(bound) for bound in (lower, upper))
    return f"{low} to {high}"


def _hundred_limits(found: object) -> str:
    lower, upper = getattr(found, "lower", None), getattr(found, "upper", None)
    return "–" if lower is None or upper is None else f"{round(100 * lower)} to {round(100 * upper)}"
