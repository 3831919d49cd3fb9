"""The footnote of a sentence in print: who, how, on what, how sure; and what nobody wrote down."""

from collections.abc import Iterator

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.interval import Interval
from listening.records.kinds import tasks
from listening.records.protocols.conducted import Conducted, Sampled
from listening.report import rounding
from listening.report.sentences import facts, slots
from listening.report.sentences.language import Language

STUDY_DIGITS = 16
RESIDUAL_DIGITS = 3


def of_question(q: QuestionFinding, found: Findings, words: Language) -> str:
    """The footnote of a question's sentence."""
    return _joined(
        [*_test(q, found, words), *_estimate(q, words), _planned(found, words), *_earlier(q.id, found, words)]
    )


def of_factor(q: QuestionFinding, found: Findings, words: Language) -> str:
    """The footnote of a factor's sentence: heard as in the question's own, and the ratio measured."""
    ratio = []
    if q.claimed_ratio is not None and q.claimed_ratio.ratio is not None:
        held = q.claimed_ratio.ratio
        said = {"ratio": words.number(held.value, 2), "coverage": rounding.level(held.coverage)}
        ratio = [words.text("footnote", "ratio").format(limits=_limits(held, words, 2), **said)]
    test = [*_test(q, found, words), *_estimate(q, words), *ratio, _planned(found, words)]
    return _joined([*test, *_earlier(q.id, found, words)])


def of_superlative(s: SuperlativeFinding, found: Findings, words: Language) -> str:
    """The footnote of a superlative."""
    conditions = (s.condition, *(one.than for one in s.against))
    counts = {"others": len(s.against), "n": len(s.against) + 1}
    return _joined(
        [
            f"{words.text('footnote', tasks.PAIRED_COMPARISON.name)}, {_who(s.n_listeners, found, words)}",
            *_carried_out(found, words),
            *_recorded(conditions, found, words),
            _played(s.presentation, found, words),
            words.text("footnote", "most").format(**counts),
            _planned(found, words),
            *_earlier(s.id, found, words),
        ]
    )


def missing(found: Findings) -> list[str]:
    """What a footnote should tell and the study does not know, and where to write it down next time."""
    conducted = found.conducted or Conducted()
    lines = []
    if not conducted.run_by:
        lines.append("who ran the test (`run_by` in the protocol’s section [panel])")
    if not conducted.heard_over:
        lines.append("whether over headphones or loudspeakers (`over` in [playback])")
    if not conducted.first_day:
        lines.append("when it took place")
    if not conducted.sampled or any(one.n_specimens == 0 for one in conducted.sampled):
        lines.append("how many units of each were recorded (column `unit` of the recordings table)")
    return lines


def _test(q: QuestionFinding, found: Findings, words: Language) -> Iterator[str]:
    yield f"{words.task(q.task)}, {_who(q.n_listeners, found, words)}"
    yield from _carried_out(found, words)
    yield words.text("footnote", "asked").format(asked=words.quoted(q.wording))
    if q.presentation == "isolated":
        yield words.text("footnote", "edited")
    else:
        yield from _recorded(facts.compared(q), found, words, strikes=q.stimuli_per_condition)
    yield _played(q.presentation, found, words)


def _who(n_listeners: int, found: Findings, words: Language) -> str:
    training = str(words.words["words"]["training"].get(found.panel.training, found.panel.training))
    return words.text("footnote", "who").format(
        listeners=n_listeners, training=training, stands_for=found.panel.stands_for
    )


def _carried_out(found: Findings, words: Language) -> Iterator[str]:
    conducted = found.conducted
    if conducted is None:
        return
    if conducted.first_day:
        days = "one_day" if conducted.first_day == conducted.last_day else "several_days"
        yield words.text("footnote", days).format(first=conducted.first_day, last=conducted.last_day)
    if conducted.run_by:
        yield words.text("footnote", "run_by").format(run_by=conducted.run_by)
    if conducted.heard_over:
        over = str(words.words["words"]["over"][conducted.heard_over])
        yield words.text("footnote", "over").format(over=over)
    yield _level(conducted, found, words)


def _level(conducted: Conducted, found: Findings, words: Language) -> str:
    if not found.matching.calibrated:
        return words.text("footnote", "uncalibrated")
    if not conducted.level_db:
        return words.text("footnote", "calibrated")
    sign = "+" if conducted.level_db > 0 else ""
    return words.text("footnote", "calibrated_other").format(
        level=f"{sign}{words.number(conducted.level_db, 1)}"
    )


def _recorded(
    conditions: tuple[str, ...], found: Findings, words: Language, *, strikes: int = 0
) -> Iterator[str]:
    """How many specimens and strikes of each, and which recordings."""
    held = [found.conducted.of(one) for one in conditions] if found.conducted else []
    sampled = [one for one in held if one is not None]
    if len(sampled) < len(conditions):
        if strikes:
            yield words.text("footnote", "strikes_alike").format(strikes=_strikes(strikes, words))
        return
    yield _counted(sampled, words)
    if len(sampled) == len(("more", "than")):
        names = ", ".join(name for one in sampled for name in one.recordings)
        yield words.text("footnote", "recordings").format(names=names)


def _counted(sampled: list[Sampled], words: Language) -> str:
    first, last = sampled[0], sampled[-1]
    alike = len({(one.n_specimens, len(one.recordings)) for one in sampled}) == 1
    if alike and not first.n_specimens:
        return words.text("footnote", "strikes_alike").format(strikes=_strikes(len(first.recordings), words))
    return words.text("footnote", "specimens_alike" if alike else "specimens_differ").format(
        strikes=_strikes(len(first.recordings), words),
        specimens=_specimens(first.n_specimens, words),
        strikes_than=_strikes(len(last.recordings), words),
        specimens_than=_specimens(last.n_specimens, words),
    )


def _strikes(n: int, words: Language) -> str:
    return words.text("footnote", "strike" if n == 1 else "strikes").format(n=n)


def _specimens(n: int, words: Language) -> str:
    return words.text("footnote", "specimen" if n == 1 else "specimens").format(n=n)


def _played(presentation: str, found: Findings, words: Language) -> str:
    how = facts.held(presentation, found)
    match = found.matching
    residual = match.largest_residual_db
    said = "–" if residual is None else words.number(residual, RESIDUAL_DIGITS)
    return words.text("footnote", how).format(label=match.label, residual=said)


def _estimate(q: QuestionFinding, words: Language) -> Iterator[str]:
    if q.points is not None:
        yield words.text("footnote", "estimate_points").format(
            coverage=rounding.level(q.points.coverage), limits=_limits(q.points, words, slots.RATING_DIGITS)
        )
    elif q.share is not None:
        key = "estimate_trials" if q.of_kind.by_right_answers else "estimate"
        if q.contrast != "pair":
            key = f"estimate_{q.contrast}"
        yield words.text("footnote", key).format(**_as_asked(q, q.share, words))


def _as_asked(q: QuestionFinding, held: Interval, words: Language) -> dict[str, str]:
    """An interaction's estimate is the difference of two shares, twice what lies above even chances."""
    if q.contrast != "interaction":
        return share(held, words)
    low, value, high = (
        None if one is None else 200 * (one - 0.5) for one in (held.lower, held.value, held.upper)
    )
    ends = ("–" if end is None else words.number(end, 0) for end in (low, high))
    return {
        "share": words.number(value or 0.0, 0),
        "coverage": rounding.level(held.coverage),
        "limits": words.text("footnote", "limits").format(**dict(zip(("low", "high"), ends, strict=True))),
    }


def share(found: Interval, words: Language) -> dict[str, str]:
    """A share with its limits, as the templates ask for it."""
    low, high = ("–" if end is None else slots.in_hundred(end, words) for end in (found.lower, found.upper))
    return {
        "share": slots.in_hundred(found.value, words),
        "coverage": rounding.level(found.coverage),
        "limits": words.text("footnote", "limits").format(low=low, high=high),
    }


def _limits(found: Interval, words: Language, digits: int) -> str:
    low, high = ("–" if end is None else words.number(end, digits) for end in (found.lower, found.upper))
    return words.text("footnote", "limits").format(low=low, high=high)


def _planned(found: Findings, words: Language) -> str:
    return words.text("footnote", "planned").format(study=found.digests.study[:STUDY_DIGITS])


def _earlier(name: str, found: Findings, words: Language) -> Iterator[str]:
    """That the planned end was analysed before with other answers, and what was said then."""
    analyses = found.record.analyses if found.record is not None else ()
    for one in analyses:
        if one.at_end and one.other_answers and name in one.words:
            word = str(words.words["words"]["verdict"][one.words[name]])
            yield words.text("footnote", "earlier").format(day=one.at[:10], word=word)


def _joined(parts: list[str]) -> str:
    return "; ".join(parts) + "."
