"""What the slots of a template are filled with, the printed text first, then what means the same."""

from listening.records.found.claimed_ratio import ClaimedRatioFinding
from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.records.kinds import metric_register, tasks
from listening.report.sentences import cause_words, facts, wording
from listening.report.sentences.language import Language

Slots = dict[str, tuple[str, ...]]
ENDS = ("more", "than")
RATING_DIGITS = 1
CHOSEN = ("training", "training_plain", "over")  # words that are chosen by something else than number


def of_question(q: QuestionFinding, found: Findings, words: Language) -> tuple[Slots, dict[str, float]]:
    """Slots of a question's claim and evidence, and the raw values of those that hold a measured number."""
    reach = facts.of_pair(q, found)
    many = reach == "recordings"
    filled = {
        "more": names(q.more, q.more_label, reach, words),
        "than": names(q.than, q.than_label, reach, words),
        "heard": tuple(words.words["heard"]["many" if many else "one"]),
        "comparative": tuple(words.comparatives(q.comparative)),
        "where": where(q, found, words),
        "attribute": (q.attribute,),
        "asked": (words.quoted(q.wording),),
        "listeners": (str(q.n_listeners),),
        "k": (str(q.n_direct_more),),
        "n": (str(q.n_direct),),
        "n_false": (str(q.n_false),),
        "n_alike": (str(q.n_alike),),
        "tied": (str(q.n_direct_no_difference),),
        "guess": ("" if q.guess is None else in_hundred(q.guess, words),),
        "margin": (margin(q, words),),
        **moved(q, words),
        **several(q, reach, words),
        **agreeing(words, many=many),
    }
    if q.points is None:
        return filled, {}
    points = abs(q.points.value)
    said = {
        "points": (words.number(points, RATING_DIGITS),),
        "direction": (words.text("points", "lower" if q.points.value < 0 else "higher"),),
        "scale": (scale(q, words),),
    }
    return filled | said, {"points": points}


def where(q: QuestionFinding, found: Findings, words: Language) -> tuple[str, ...]:
    """How the two were played, and among whom, where a planned subgroup decides."""
    played = words.list_of("where", facts.held(q.presentation, found))
    if not q.among:
        return tuple(played)
    return tuple(words.text("among", "label").format(where=one, label=q.among) for one in played)


def several(q: QuestionFinding, reach: facts.Reach, words: Language) -> Slots:
    """What a contrast of several pairs is taken over."""
    if q.contrast == "pair":
        return {}
    said = [names(one, one, reach, words)[0] for one in q.over] if q.contrast == "trend" else list(q.over)
    there = [part for part in q.parts if part.is_turned]
    here = [part for part in q.parts if not part.is_turned]
    return {
        "over": (words.listed(said),),
        "n_pairs": (str(len(q.parts)),),
        **{f"{end}_other": names(one, one, reach, words) for end, one in zip(ENDS, q.exceeds, strict=False)},
        "k_here": (str(sum(part.n_more for part in here)),),
        "n_here": (str(sum(part.n for part in here)),),
        "k_there": (str(sum(part.n - part.n_more for part in there)),),
        "n_there": (str(sum(part.n for part in there)),),
    }


def of_superlative(s: SuperlativeFinding, found: Findings, words: Language) -> Slots:
    """Slots of a superlative."""
    reach = facts.of_set(s, found)
    many = reach == "recordings"
    return {
        "more": names(s.condition, s.label, reach, words),
        "heard": tuple(words.words["heard"]["many" if many else "one"]),
        "superlative": (superlative(s.comparative, words),),
        "where": tuple(words.list_of("where", facts.held(s.presentation, found))),
        "n": (str(len(s.against) + 1),),
        "others": (str(len(s.against)),),
        "listeners": (str(s.n_listeners),),
        **agreeing(words, many=many),
    }


def of_factor(planned: ClaimedRatioFinding, words: Language) -> Slots:
    """Slots of a planned ratio."""
    factor = f"{planned.claimed:g}".replace(".", str(words.words["decimal"]))
    return {"factor": (factor,)}


def measured(metric: str, words: Language) -> str:
    """The template of a measured ratio; a metric without own words goes by its name, in English alone."""
    own = words.words["measures"].get(metric)
    if own is not None or not words.words["generic"]:
        return own or ""
    name = metric_register.named(metric).name
    return f"the {name} of {{more}} is at least {{factor}} times that of {{than}}"


def names(condition: str, label: str, reach: facts.Reach, words: Language) -> tuple[str, ...]:
    """How a condition is called: by its label or its name in the protocol, in quotation marks or without."""
    said = words.quoted(label) if "," in label else label  # a comma in a name would part the sentence
    printed = [
        pattern.format(label=label if words.quoted("{label}") in pattern else said)
        for pattern in words.list_of("names", reach)
    ]
    bare = [_bare(pattern, words) for pattern in words.list_of("names", reach)]
    others = [
        pattern.format(label=called)
        for pattern in bare
        for name in (label, condition)
        for called in (name, words.quoted(name))
    ]
    return tuple(dict.fromkeys([*printed, *others]))


def superlative(comparative: str, words: Language) -> str:
    """`the brightest`; where the file lacks it, English makes it by rule and other languages go without."""
    return words.superlative(comparative) or (
        wording.superlative(comparative) if words.words["generic"] else ""
    )


def agreeing(words: Language, *, many: bool) -> Slots:
    """Words that change with the number of what is spoken of."""
    return {key: (words.by_number(key, many=many),) for key in words.words["words"] if key not in CHOSEN}


def happened(q: QuestionFinding, words: Language) -> list[str]:
    """Templates of what was done, the printed one first."""
    key = facts.evidence(q)
    return words.discriminated(key) if q.of_kind.by_right_answers else words.list_of("evidence", key)


def tied(q: QuestionFinding, words: Language) -> str:
    """What to add where some found no difference; a template."""
    return (
        words.words["evidence"]["tied"] if q.n_direct_no_difference and not q.of_kind.by_right_answers else ""
    )


def moved(q: QuestionFinding, words: Language) -> Slots:
    """Of two edited versions: what was moved, and which way."""
    what = cause_words.of(q)
    if not what:
        return {}
    way = "more" if cause_words.is_more(q) else "less"
    return {"moved": (words.text("moved", what),), "way": (words.text("moved", way),)}


def margin(q: QuestionFinding, words: Language) -> str:
    """What `the same` allows; empty for other kinds."""
    if not q.of_kind.is_equivalence:
        return ""
    effect = in_hundred(q.smallest_effect, words) if q.unit == "share" else f"{q.smallest_effect:g}"
    return words.text("margins", q.unit).format(effect=effect)


def scale(q: QuestionFinding, words: Language) -> str:
    """The scale with its ends."""
    low, high = (words.quoted(end) for end in (q.scale[0], q.scale[-1])) if q.scale else ("", "")
    sheet = tasks.named(q.task).sheet
    kind = {"marks": "continuous", "compared label": "comparison"}.get(sheet, "category")
    return words.text("points", kind).format(top=len(q.scale), low=low, high=high)


def in_hundred(share: float, words: Language) -> str:
    """A share as so many in 100; as many decimals as keep it from 0 and 100 where it is neither."""
    digits = 0
    while digits < 4 and 0 < share < 1 and round(100 * share, digits) in (0, 100):
        digits += 1
    return words.number(100 * share, digits)


def _bare(pattern: str, words: Language) -> str:
    opening, closing = words.words["quotes"]
    return pattern.replace(opening, "").replace(closing, "")
