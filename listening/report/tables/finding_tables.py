"""Planned questions as tables: the text of every cell, rounded; nothing computed."""

from listening.records.found.findings import Against, Findings, SuperlativeFinding
from listening.records.found.findings_question import LevelCheck, QuestionFinding
from listening.records.kinds import metric_register
from listening.report import rounding
from listening.report.rounding import in_hundred, limits, number, signed
from listening.report.tables.table_form import Row, Table, hundred_limits, p_text, without_empty_note


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
            p_text(q.p),
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
        hundred_limits(heard),
        rounding.level(heard.coverage) if heard else "–",
        p_text(q.p),
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
        p_text(q.p),
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
            p_text(one.p),
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
    return without_empty_note(made)


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
