"""Method, deviations and cautions in words, from the findings' options."""

from collections.abc import Iterator

from listening.records.found.findings import Findings, Winner
from listening.records.found.findings_study import Caution
from listening.records.kinds import metric_register, tasks
from listening.report import rounding
from listening.report.page import record_words

TRAINING = {"naive": "untrained"}
CAUTIONS: dict[Caution, str] = {
    "imported": "The answers were collected elsewhere and came as a table. Whether the listening was blind, "
    "the orders balanced, the levels matched and the claims planned before the answers cannot be seen from "
    "it; that rests on the word of whoever collected it.",
    "simulated": "The panel is simulated in whole or in part: nothing here may be claimed.",
    "uncalibrated": "The recordings are not calibrated: levels are relative to full scale, and no sound "
    "pressure level, loudness or dose can be stated.",
    "one strike": "Some condition was heard with one strike only: what is said holds for that recording, "
    "not for the design.",
    "unfinished sittings": "Some sittings were not finished; their answers are counted as far as they go.",
    "fewer listeners than planned": "Fewer listeners took part than were planned, so an open question may "
    "be open for want of listeners.",
    "no level slope": "For some answer nobody measured how much level alone moves it; its questions stay "
    "undecided at equal level.",
    "interim look": "This is a look before the planned end, not the result of the study.",
    "unplanned looks": "The answers were looked at before the planned end without a rule for it, so the "
    "stated error rates are too low.",
    "closed early": "Recruitment ended before the planned number of listeners, as the stopping rule allows.",
    "no control pairs": "There were no control pairs: inattentive listeners cannot be told apart, and the "
    "level slope has a weaker source.",
}
ALWAYS = (
    "A verdict holds for these conditions, played this way, to listeners of this kind. Other specimens, "
    "supports, rooms, playback levels and listeners were not tested.",
    "A claim in public is also a matter of advertising law: have counsel read it, with this page, before "
    "print.",
    "Playback level can harm hearing: keep to local rules, and let a qualified person set levels for a "
    "panel.",
)


def lead(found: Findings) -> str:
    """The first lines of the page: who listened, and whom they stand for."""
    panel = found.panel
    whom = f"{panel.stands_for[:1].upper()}{panel.stands_for[1:]}"
    return (
        f"{panel.n_listeners} listeners, {panel.n_answers} counted answers, {len(found.questions)} questions "
        f"planned before anyone listened. {whom}; {TRAINING.get(panel.training, panel.training)} listeners."
    )


def method(found: Findings) -> list[str]:
    """Paragraphs that let another statistician redo it."""
    discriminated = [q for q in found.questions if q.of_kind.by_right_answers]
    rated = [q for q in found.questions if q.unit == "points"]
    compares = not found.questions or len(discriminated) + len(rated) < len(found.questions)
    trials = (
        "Each trial played two sounds one after the other under coded names; the listener chose one. "
        if compares
        else "Each trial played its sounds under coded names. "
    )
    return [
        f"{trials}Orders were balanced and drawn before the test; which code is which sound was sealed until "
        f"the analysis. {record_words.of_key(found)}".rstrip(),
        *(deciding(found) if compares else []),
        *(_discriminated(found) if discriminated else []),
        *(_rated(found) if rated else []),
    ]


def _rated(found: Findings) -> list[str]:
    """How ratings are decided."""
    tasks = ", ".join(dict.fromkeys(q.task for q in found.questions if q.unit == "points"))
    return [
        f"Rated ({tasks}): the difference in points of the scale, by a linear mixed model of the scores "
        "(restricted maximum likelihood) with listeners, each listener’s own view of each condition, and "
        "strikes as samples; Student’s t with Satterthwaite’s degrees of freedom, never more than listeners "
        "− 1. At equal level, what a decibel adds to a score comes from sounds rated both as recorded and "
        "matched; it is taken off in every level metric, at its estimate and at both its limits, and all "
        "must give the same verdict. The rule of the verdict is that of choices, in points. The cumulative "
        "model of the categories stands beside it and decides nothing." + _beside_reference(found)
    ]


def _beside_reference(found: Findings) -> str:
    """What is compared where sounds were graded beside a hidden reference."""
    named = {q.task for q in found.questions if q.unit == "points"}
    graded = [t for t in map(tasks.named, sorted(named)) if t.has_hidden_reference]
    if not graded:
        return ""
    one_by_one = any(t.sounds is not None for t in graded)
    said = " Sounds graded on one screen are compared by their grades"
    if one_by_one:
        said = (
            " Sounds graded one by one beside the hidden reference are compared by their difference grades, "
            "and against the reference by the grades of their own trials"
        )
    return f"{said}; listeners whom the planned rule on the hidden reference leaves out do not enter."


def _discriminated(found: Findings) -> list[str]:
    """How triangle, duo-trio, 2-AFC and same-different are decided."""
    tasks = ", ".join(dict.fromkeys(q.task for q in found.questions if q.of_kind.by_right_answers))
    return [
        f"Discrimination ({tasks}): the share of trials that were not guessed is (right − guessing) "
        "/ (1 − guessing); in same-different, the share called different of pairs that differ minus that of "
        "pairs that are alike. Guessing must be ruled out by the exact test (binomial; same-different: all "
        "listeners’ own tables). Each limit is the wider of the exact binomial one and that of a linear "
        "mixed model of the answers with listeners and the strikes of either kind as samples, Student’s t "
        "with the smaller of listeners − 1 and strikes − kinds degrees of freedom (same-different: the "
        "model’s). "
        "Supported if the lower limit is above zero and the share not guessed reaches the smallest that "
        "matters; contradicted if the upper limit is below it; else undecided. Below "
        f"{found.method.minimum_listeners} listeners there is no verdict; families are corrected by "
        f"{found.method.family_rule}’s steps.",
    ]


def deciding(found: Findings) -> list[str]:
    """What decides questions on choices, and when it says what."""
    if all(q.decided_by == "logistic mixed model" for q in found.questions if q.unit in ("share", "logit")):
        return _by_model(found)
    options = found.method
    return [
        f"What decides: {options.deciding}. Direct comparisons of the planned pair alone: each listener’s "
        "own share of choices is counted and each listener weighs the same, whatever the number of answers. "
        "The advantage of the sound heard first is taken off. Limits are one-sided, by Student’s t with "
        f"{options.df_rule} degrees of freedom and the skewness of the listeners’ shares; where all agree "
        "they are never narrower than the exact ones.",
        *([_monotony(found)] if options.level_metrics else []),
        _rule(found, on="even chances"),
        "Mixed models of the same answers and of all conditions stand beside each verdict and decide "
        "nothing; so does a test whether comparisons over other conditions agree with the direct ones.",
    ]


def _by_model(found: Findings) -> list[str]:
    """The model that decided before version 0.2, and when it said what."""
    options = found.method
    level = [_level(found)] if options.level_metrics else []
    return [
        f"Deciding model: {options.deciding}. Fixed: the advantage of the sound heard first, and the "
        "conditions. Random, all independent: each listener’s own size of the planned contrast, each "
        "listener’s own view of each condition, and each recorded strike. The contrast is judged by "
        f"Student’s t with {options.df_rule} degrees of freedom; where nearly all answers agree, by "
        "profile likelihood. Strikes are taken to vary alike in every condition; where they vary far more "
        "in the two compared, the limits are too narrow.",
        *level,
        _rule(found),
        "Shares are over all listeners and strikes (marginal): listeners differ, so the share is nearer "
        "to even than the choice of the average listener, which the table also gives.",
    ]


def _monotony(found: Findings) -> str:
    metrics = ", ".join(metric_register.named(m).name for m in found.method.level_metrics)
    return (
        "At equal level, what is left of the level difference moves answers no more than a control pair (one "
        "sound against itself at a known gain) with the next larger gain does: no slope is supposed. The "
        "verdict must hold with the most that level can have in the share taken off, with level as each of "
        f"{metrics} and, where which is louder was asked about the same sounds, as it was heard."
    )


def _level(found: Findings) -> str:
    metrics = ", ".join(metric_register.named(m).name for m in found.method.level_metrics)
    return (
        "At equal level, what is left of the level difference enters as a known part, level slope × "
        "residual. The slope comes from control pairs (one sound against itself at a known gain). The "
        f"verdict must hold with level as each of {metrics}, at the slope’s estimate and at "
        f"both its {rounding.level(found.method.slope_coverage)} limits."
    )


def _rule(found: Findings, on: str = "zero") -> str:
    options = found.method
    return (
        f"More: supported if the one-sided lower limit is above {on} and the estimate reaches the smallest "
        "effect that matters; contradicted if the upper limit is below it; else undecided. Same: "
        "supported if both limits lie inside the smallest effect and enough listeners do, a panel split in "
        "camps included; "
        f"contradicted if both lie outside on one side; else undecided. Below {options.minimum_listeners} "
        f"listeners there is no verdict. Families of questions are corrected by {options.family_rule}’s "
        "steps; what is contradicted must be so at the error rate shared over the whole family."
    )


def cautions(found: Findings) -> list[str]:
    """What a reader must keep in mind."""
    return [*(CAUTIONS[name] for name in found.cautions), *ALWAYS]


def deviations(found: Findings) -> list[str]:
    """How the study departed from its plan, and what was found without being planned."""
    lines = list(_departures(found))
    return [
        *(lines or ["The study was carried out as planned."]),
        *winners(found),
        "No finding outside the planned questions is claimed; strengths and slopes above are descriptions.",
    ]


def winners(found: Findings) -> list[str]:
    """Who came out on top of sets in which none was named beforehand."""
    planned = {(s.attribute, s.presentation) for s in found.superlatives}
    return [_winner(one) for one in found.winners if (one.attribute, one.presentation) not in planned]


def matching(found: Findings) -> str:
    """How the stimuli were matched, in one paragraph."""
    match = found.matching
    if match.metric is None:
        return "Stimuli were played as recorded; nothing was matched."
    words = metric_register.named(match.metric)
    unit = words.residual_unit
    level = "calibrated" if match.calibrated else "not calibrated"
    return (
        f"Matched stimuli hold {words.name} equal ({match.label}), measured again from the written files: "
        f"largest residual {rounding.number(match.largest_residual_db, 3)} {unit}, allowed "
        f"{rounding.number(match.tolerance_db, 2)} {unit}. The recordings are {level}."
    )


def _winner(one: Winner) -> str:
    clear = "leads every other one" if one.is_clear else "does not clearly lead every other one"
    return (
        f"Not planned: in {one.attribute}, {one.presentation}, {one.label} came out on top. Judged as one "
        f"picked from the data ({rounding.level(one.coverage)} joint limits over {one.n_pairs} pairs, level "
        f"not corrected), it {clear}: against any of them it is chosen at least "
        f"{rounding.in_hundred(rounding.as_share(one.least_lower))} times in 100."
    )


def _departures(found: Findings) -> Iterator[str]:
    panel = found.panel
    if panel.n_listeners != panel.n_planned:
        yield f"{panel.n_planned} listeners were planned, {panel.n_listeners} took part."
    if panel.n_unfinished:
        yield f"{panel.n_unfinished} sittings were not finished."
    if found.sessions is not None and found.sessions.incomplete:
        n = len(found.sessions.incomplete)
        yield f"{n} listeners missed a session; the protocol’s rule says which questions they decide."
    if panel.n_excluded:
        yield f"{panel.n_excluded} listeners were excluded by a rule that the protocol fixed."
    if found.record is not None:
        yield from (
            f"An earlier complete analysis of other answers was made on {record_words.day(one.at)}."
            for one in record_words.earlier_complete(found)
        )
