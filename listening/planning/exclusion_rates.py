"""What each planned rule of exclusion costs: how often it takes an honest listener, and one who guesses."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from listening.design import slots
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import CLEAR_GAIN_DB
from listening.records.sounds.manifest import Manifest
from stats.discrimination import exclusion_chances

EVEN = 0.5
CLEAR_CONTROL_RIGHT = 0.9  # of clear control pairs, by who listens; stated, not measured
OWN_OPINION = 0.7  # share of the same answer to a pair heard again, of who hears it somewhat; stated
REFERENCE_LOW = 0.05  # of trials, by who hears the hidden reference out; stated
MOST_GRADE, HIGH_GRADE = 100.0, 90.0


@dataclass(frozen=True)
class Rate:
    """One rule."""

    rule: str
    """In words."""
    n: int
    """How many trials of a listener it looks at."""
    honest: float | None
    """Chance that it leaves out a listener as `assumed`; None where nothing is known beforehand."""
    at_random: float | None
    """Chance that it leaves out one who answers at random."""
    assumed: str


def of_protocol(protocol: Protocol, manifest: Manifest) -> list[Rate]:
    """A line for each rule that the protocol sets, by the trials of the first slot.

    Raises
    ------
    StudyError
        A block has nothing to compare.
    """
    dealt = next(slots.in_turn(protocol, manifest, Draws.open_to_all(protocol.seed)))
    counted = [trial for is_practice, trial in dealt if not is_practice]
    return [*_choices(protocol, counted), *_ratings(protocol, counted)]


def lines(rates: list[Rate]) -> list[str]:
    """Each rule with its rates, then all together; nothing without rules."""
    if not rates:
        return []
    said = [
        f"{one.rule} ({one.n} trials): leaves out {_of_100(one.honest)} honest listeners ({one.assumed}) and "
        f"{_of_100(one.at_random)} who answer at random"
        for one in rates
    ]
    return [*said, together(rates)]


def together(rates: list[Rate]) -> str:
    """All rules at once, whatever goes together among them."""
    honest = [one.honest for one in rates if one.honest is not None]
    caught = [one.at_random for one in rates if one.at_random is not None]
    lost = min(sum(honest), 1.0)
    return (
        f"all rules together leave out at most {_of_100(lost)} honest listeners and at least "
        f"{_of_100(max(caught, default=None))} who answer at random"
    )


def _choices(protocol: Protocol, counted: list[Trial]) -> Iterator[Rate]:
    rule = protocol.exclusions
    about_level = {a.name for a in protocol.attributes if a.about_level}
    chosen = [t for t in counted if tasks.named(protocol.attribute(t.attribute).task).family == "choice"]
    clear = [
        t for t in chosen if t.is_control and t.attribute in about_level and _gain_db(t) >= CLEAR_GAIN_DB
    ]
    if rule.controls_right_below is not None:
        limit, n = rule.controls_right_below, len(clear)
        yield Rate(
            f"fewer than {100 * limit:g} % of the control pairs of {CLEAR_GAIN_DB:g} dB and more right",
            n,
            exclusion_chances.share_below(n, limit, CLEAR_CONTROL_RIGHT),
            exclusion_chances.share_below(n, limit, EVEN),
            f"right in {100 * CLEAR_CONTROL_RIGHT:g} of 100",
        )
    if rule.same_side_above is not None:
        limit, n = rule.same_side_above, len(chosen)
        chance = exclusion_chances.one_side_above(n, limit)
        yield Rate(
            f"one side in more than {100 * limit:g} % of trials",
            n,
            chance,
            chance,
            "without a lean to a side",
        )
    if rule.repeats_alike_below is not None:
        limit = rule.repeats_alike_below
        again = Counter(t.group for t in chosen if not t.is_control)
        yield Rate(
            f"fewer than {100 * limit:g} % of repeated pairs answered alike",
            sum(n for n in again.values() if n > 1),
            exclusion_chances.alike_below(again.values(), limit, OWN_OPINION),
            exclusion_chances.alike_below(again.values(), limit, EVEN),
            f"of one opinion in {100 * OWN_OPINION:g} of 100",
        )
    if rule.median_response_below_s is not None:
        said = f"a median time to answer below {rule.median_response_below_s:g} s"
        yield Rate(said, len(counted), None, None, "how fast honest people answer is not known before")


def _ratings(protocol: Protocol, counted: list[Trial]) -> Iterator[Rate]:
    rule = protocol.exclusions
    hidden = {a.name for a in protocol.attributes if tasks.named(a.task).has_hidden_reference}
    n = sum(t.attribute in hidden for t in counted)
    graded = (
        ("the hidden reference below 90", rule.hidden_reference_low_above, HIGH_GRADE / MOST_GRADE),
        ("the mid anchor above 90", rule.mid_anchor_high_above, 1 - HIGH_GRADE / MOST_GRADE),
    )
    for what, limit, at_random in graded:
        if limit is not None:
            yield Rate(
                f"{what} in more than {100 * limit:g} % of trials",
                n,
                exclusion_chances.share_above(n, limit, REFERENCE_LOW),
                exclusion_chances.share_above(n, limit, at_random),
                f"so in {100 * REFERENCE_LOW:g} of 100",
            )
    if rule.difference_grades_p_above is not None:
        p = rule.difference_grades_p_above
        said = f"difference grades not below zero (p above {p:g})"
        yield Rate(said, len(counted), None, 1 - p, "depends on how well the reference is heard out")


def _gain_db(trial: Trial) -> float:
    return abs(trial.sounds[0].gain_db - trial.sounds[-1].gain_db)


def _of_100(chance: float | None) -> str:
    if chance is None:
        return "an unknown share of"
    said = f"{100 * chance:.1f}" if chance >= 0.0005 or chance == 0 else "fewer than 0.1"
    return f"{said} in 100"
