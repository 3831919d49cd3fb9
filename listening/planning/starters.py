"""Protocols to start from, one for each common question; the text is TOML with its comments."""

import json
from dataclasses import dataclass
from typing import Literal

Kind = Literal["beyond-level", "rating", "same", "small-change", "discrimination", "preference"]

KINDS: dict[str, str] = {
    "beyond-level": "one design is heard as having more of something, beyond being louder",
    "rating": "how much of something each design has, on a scale of words",
    "same": "two conditions are heard as the same, such as two designs that differ in level alone",
    "small-change": "whether a small change can be heard at all",
    "discrimination": "whether listeners discriminate two things at all, by whatever they differ in",
    "preference": "which of the designs people would rather hear",
}
TRIAL_S = 9.5  # two sounds of 2.5 s, the gap, and the answer
OVERHEAD_MIN = 4.0  # welcome, level, explanations, practice, a break
MOST_REPEATS = 8
LEVEL_TRIALS = 38  # control pairs, and which of the planned two is louder
CONTROLS, SAME_CONTROLS = 10, 16  # near the level left over; `the same` is bounded on both sides
WELCOME = (
    "Thank you for coming. You will hear short sounds and answer one question about them. There is no right "
    "or wrong answer: we want to know what you hear."
)
CONSENT = (
    "Your answers are kept under a code, never with your name. You may stop at any time, without giving a "
    "reason, and ask for your answers to be removed. If anything is uncomfortably loud, take the headphones "
    "off and tell us."
)
EXCLUSIONS = """
# Who is left out, decided now and not later: fewer than 7 in 10 of the clear loudness controls right. That
# loses 3 in 100 who listen and finds 9 in 10 who answer at random.
[exclusions]
controls_right_below = 0.7
"""
RATING_LABELS = ["not at all", "a little", "moderately", "very", "extremely"]


@dataclass(frozen=True)
class Wording:
    """How one attribute is put to a listener."""

    question: str
    comparative: str
    explanation: str
    about_level: bool = False
    more: str = ""
    """Example file with more of it; none if empty."""
    less: str = ""


KNOWN: dict[str, Wording] = {
    "brightness": Wording(
        "Which of the two sounds is brighter?",
        "brighter",
        "Bright here means the colour of the sound: thin and glittering rather than dark and full. It does "
        "not mean louder.",
        more="example_bright.flac",
        less="example_dull.flac",
    ),
    "ringing": Wording(
        "Which of the two sounds rings longer?",
        "longer-ringing",
        "Listen to how long the sound goes on after the strike, not to how hard it was struck.",
        more="example_long.flac",
        less="example_short.flac",
    ),
    "loudness": Wording(
        "Which of the two sounds is louder?",
        "louder",
        "Louder as a whole, the way you would turn a volume knob.",
        about_level=True,
        more="example_loud.flac",
        less="example_soft.flac",
    ),
    "difference": Wording(
        "Two of the three sounds are alike. Which one is the odd one?",
        "different",
        "Go by whatever you notice. Where you notice nothing, guess.",
    ),
    "preference": Wording(
        "Which of the two sounds would you rather hear?",
        "preferred",
        "There is no right answer: your taste counts.",
    ),
}


@dataclass(frozen=True)
class Answers:
    """What the researcher said."""

    kind: Kind
    name: str
    title: str
    folder: str
    """Of the recordings table, relative to where the protocol will lie."""
    factors: tuple[str, ...]
    conditions: tuple[str, ...]
    """All that are used."""
    use: dict[str, tuple[str, ...]]
    more: str
    than: str
    attribute: str
    wording: Wording
    stands_for: str
    training: str
    listeners: int
    minutes: float
    calibrated: bool
    table: str = "recordings.csv"
    seed: int = 1


def text(answers: Answers) -> str:
    """The protocol as commented TOML."""
    parts = [
        _head(answers),
        _presentations(answers),
        _attribute(answers),
        _blocks(answers),
        _sitting(answers),
    ]
    return "\n".join([*parts, _questions(answers)])


def repeats(answers: Answers, n_pairs: int) -> int:
    """How often each pair fits into the wanted sitting, at least once."""
    trials = _trials(answers)
    return max(1, min(MOST_REPEATS, int(trials / max(n_pairs, 1))))


def partners(answers: Answers) -> int | None:
    """With how many others a listener compares each condition; None where all pairs fit."""
    k = len(answers.conditions)
    trials = _trials(answers)
    if k * (k - 1) / 2 <= trials:
        return None
    most = min(k - 2, int(2 * trials / k))
    even = most - most % 2
    return max(2, even if k % 2 else most)


def _trials(answers: Answers) -> float:
    """How many trials on the question itself fit into the wanted sitting."""
    others = 0 if answers.kind == "discrimination" else LEVEL_TRIALS
    return max(0.0, answers.minutes - OVERHEAD_MIN) * 60 / TRIAL_S - others


def _head(a: Answers) -> str:
    use = ", ".join(f"{_key(f)} = {_list(levels)}" for f, levels in a.use.items())
    return f"""\
# {a.title}
# Question: {KINDS[a.kind]}.
# Every key is explained in docs/protocol.md; `listening check` names what is wrong or doubtful.

format = 1
name = {_text(a.name)}
title = {_text(a.title)}
seed = {a.seed}

[recordings]
folder = {_text(a.folder)}  # relative to this file
table = {_text(a.table)}
factors = {_list(a.factors)}  # a condition is the values of these joined by `/`
use = {{ {use} }}  # levels to keep; an empty table keeps all

[panel]
stands_for = {_text(a.stands_for)}  # the printed sentence names them
training = {_text(a.training)}
run_by = ""  # who runs the test: the footnote of a printed sentence names them
listeners = {a.listeners}  # is that enough? `listening size` tells
spare = {max(2, round(a.listeners / 6))}  # for listeners who replace a drop-out

[playback]
over = "headphones"  # or "loudspeakers": the footnote names it
"""


def _presentations(a: Answers) -> str:
    metric = "nmax_sone" if a.calibrated else "laf_max_db"
    return f"""\
# All stimuli at one level, so that what is heard is not the plain difference in level.
[[presentations]]
name = "matched"
metric = {_text(metric)}
tolerance_db = 0.1

[trimming]
before_onset_s = 0.05
length_s = 2.5
"""


def _attribute(a: Answers) -> str:
    text = f"""\
[[attributes]]
name = {_text(a.attribute)}
wording = {_text(a.wording.question)}
comparative = {_text(a.wording.comparative)}  # the word of the claim
explanation = {_text(a.wording.explanation)}
about_level = {str(a.wording.about_level).lower()}
"""
    if a.kind == "discrimination":
        return f'{text}task = "triangle"  # ISO 4120: two alike and an odd one\n'
    if a.wording.more:
        text += f"examples = {{ more = {_text(a.wording.more)}, less = {_text(a.wording.less)} }}\n"
    if not a.wording.about_level:
        text += _loudness()
    if a.kind == "rating":
        text += f"""
# The rating describes each design by itself; the comparison above decides the planned question.
[[attributes]]
name = {_text(a.attribute + " rating")}
task = "category rating"
wording = {_text(f"How much {a.attribute} does this sound have?")}
comparative = {_text(a.wording.comparative)}
explanation = {_text(a.wording.explanation)}
scale = {_list(RATING_LABELS)}
scale_standard = "own"
"""
        if a.wording.more:
            text += f"examples = {{ more = {_text(a.wording.more)}, less = {_text(a.wording.less)} }}\n"
    return text


def _loudness() -> str:
    asked = KNOWN["loudness"]
    return f"""
[[attributes]]
name = "loudness"
wording = {_text(asked.question)}
comparative = {_text(asked.comparative)}
explanation = {_text(asked.explanation)}
about_level = true
"""


def _blocks(a: Answers) -> str:
    text = f'[[blocks]]\nattribute = {_text(a.attribute)}\npresentation = "matched"\n{_pairs(a)}'
    if a.kind == "rating":
        text += f"""
[[blocks]]
attribute = {_text(a.attribute + " rating")}
presentation = "matched"
repeats = 2
"""
    if a.kind == "discrimination":
        return text
    if a.wording.about_level:
        return text + _loudness_controls(a.attribute)
    return f"""{text}
# One stimulus against itself, one of the two stronger by a known gain: what a decibel alone does. The gains
# lie just above what matching leaves, and above what may be heard as louder.
[[controls]]
attribute = {_text(a.attribute)}
gains_db = [1.8]
repeats = {SAME_CONTROLS if a.kind == "same" else CONTROLS}

[[controls]]
attribute = {_text(a.attribute)}
gains_db = [4.0]
repeats = 4

# Which of the two is louder once they are matched: level as it is heard, beyond what the meters say.
[[blocks]]
attribute = "loudness"
presentation = "matched"
pairs = "planned"
of_all_questions = true
repeats = 6
{_loudness_controls("loudness")}"""


def _loudness_controls(attribute: str) -> str:
    return f"""
[[controls]]
attribute = {_text(attribute)}
gains_db = [1.8]
repeats = 6

# Who does not hear these does not listen: see [exclusions].
[[controls]]
attribute = {_text(attribute)}
gains_db = [4.0]
repeats = 12
"""


def _pairs(a: Answers) -> str:
    if a.kind in ("same", "small-change", "discrimination"):
        times = 4 if a.kind == "same" else 2  # `the same` wants each listener's own effect known
        return f'pairs = "planned"\nrepeats = {max(4, times * repeats(a, 2))}\n'
    some = partners(a)
    if some is not None:
        why = "# not all pairs fit into the sitting: each listener a part"
        return f'pairs = "rotating"  {why}\npartners = {some}\nplanned_too = true\n'
    k = len(a.conditions)
    return f'pairs = "all"\nrepeats = {repeats(a, k * (k - 1) // 2)}\n'


def _sitting(a: Answers) -> str:
    # guessing is taken off the count of right answers, so who guesses need not be left out
    left_out = "" if a.kind == "discrimination" else EXCLUSIONS
    return f"""\
[sitting]
welcome = {_text(WELCOME)}
consent = {_text(CONSENT)}
practice_trials = 2
break_every_trials = 40
{left_out}
# When listening ends. Looks before the end need a rule that shares out the error rate.
[stopping]
looks = []
spending = "none"
withdrawn = "count"  # who finished and withdraws still counts, without answers
"""


def _questions(a: Answers) -> str:
    kind = {"same": "same", "discrimination": "audible"}.get(a.kind, "more")
    smallest = {"same": 0.7, "small-change": 0.55, "discrimination": 0.2}.get(a.kind, 0.6)
    unit = "share not guessed" if kind == "audible" else "share"
    in_100 = f"{100 * smallest:.0f} times in 100"
    about = {
        "same": f"# The same: chosen less than {in_100}, and few listeners who hear it otherwise.",
        "small-change": f"# Who hears no change picks each sound half the time; it counts from {in_100} on.",
        "discrimination": f"# It matters when heard, and not guessed, in {100 * smallest:.0f} trials of 100.",
    }.get(a.kind, f"# It matters when chosen at least {in_100}.")
    last = "split_limit = 0.5\n" if a.kind == "same" else ""
    return f"""\
{about}
[[questions]]
id = {_text(_question_id(a))}
kind = {_text(kind)}
attribute = {_text(a.attribute)}
presentation = "matched"
contrast = {{ more = {_text(a.more)}, than = {_text(a.than)} }}
smallest_effect = {smallest}
unit = {_text(unit)}
alpha = 0.05
{last}"""


def _question_id(a: Answers) -> str:
    if a.kind == "same":
        return f"same-{a.attribute}"
    if a.kind == "discrimination":
        return "discriminated"
    return f"{a.wording.comparative.split()[0]}-beyond-level"


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False)


def _list(values: tuple[str, ...] | list[str]) -> str:
    return json.dumps(list(values), ensure_ascii=False)


def _key(name: str) -> str:
    plain = name.replace("_", "").replace("-", "")
    return name if plain.isascii() and plain.isalnum() else _text(name)
