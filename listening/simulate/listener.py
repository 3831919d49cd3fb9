"""A simulated listener: known sensitivities, own slopes, order bias, lapses, and an own idea of loudness."""

from dataclasses import dataclass, field

import numpy as np

from listening.simulate.percepts import FloatArray, IntArray, Percepts

LAPSES = 0.02  # share of trials answered by chance


@dataclass(frozen=True)
class Sensitivity:
    """How an attribute's answers follow what is heard, logit per unit of difference, mean over listeners."""

    level: float
    """Per decibel of the listener's own loudness."""
    brightness: float
    """Per octave of the spectral centroid."""
    decay: float
    """Per doubling of the decay time."""


# With the demo's bells: d is called brighter than c, and f longer than e, by about 85 of 100; a and b
# differ in level alone, so nothing here tells them apart once they are matched.
DEFAULT = {
    "brightness": Sensitivity(level=0.10, brightness=3.3, decay=0.0),
    "ringing": Sensitivity(level=0.10, brightness=0.0, decay=3.0),
    "loudness": Sensitivity(level=0.80, brightness=0.4, decay=0.2),
}
UNKNOWN = Sensitivity(level=0.20, brightness=1.0, decay=1.0)  # an attribute that is none of the above


@dataclass(frozen=True)
class Truth:
    """What is true of a simulated panel."""

    sensitivities: dict[str, Sensitivity] = field(default_factory=lambda: dict(DEFAULT))
    slope_spread: float = 0.3
    """Standard deviation over listeners of each slope, relative to its mean."""
    quirk_sd: float = 0.15
    """Standard deviation over recordings of a pull that no metric explains, logit."""
    order_bias: float = 0.1
    """Mean pull towards the second sound, logit."""
    order_spread: float = 0.2
    """Its standard deviation over listeners."""
    no_difference_width: float = 0.6
    """Half-width, logit, of the region in which `no difference` is likely, where it may be answered."""
    lapses: float = LAPSES
    careless: float = 0.0
    """Share of listeners who hear no difference in any trial."""
    taste_sd: float = 0.0
    """Standard deviation over listeners of an own pull for each condition, logit."""
    loudness_mix: tuple[float, float] = (0.4, 0.9)
    """Least and largest share of LAFmax in a listener's own loudness; the rest is LAE."""
    loudness_exponent: tuple[float, float] = (0.85, 1.15)
    """Own loudness grows between so many decibel a decibel."""
    glare: tuple[float, float] = (0.0, 0.01)
    """Relative gain of brightness per decibel above the mean of the set, least and largest."""

    def sensitivity(self, attribute: str) -> Sensitivity:
        """Of the attribute, or of one that nothing is known about."""
        return self.sensitivities.get(attribute, UNKNOWN)


@dataclass(frozen=True)
class Listener:
    """One of them."""

    number: int
    slopes: dict[str, Sensitivity]
    order_bias: float
    loudness_mix: float
    """Share of LAFmax in the own loudness; the rest is LAE."""
    loudness_exponent: float
    """Own loudness grows so many decibel a decibel."""
    glare: float
    """Relative gain of brightness per decibel above the mean of the set."""
    careless: bool = False
    """Hears no difference in any trial."""


def draw(truth: Truth, seed: int, number: int, attributes: tuple[str, ...]) -> Listener:
    """Listener `number` of the panel of that seed: the same whatever the size of the panel."""
    rng = _own_rng(seed, 11, number)
    slopes = {}
    for name in attributes:
        mean = truth.sensitivity(name)
        factor = 1.0 + truth.slope_spread * rng.standard_normal(3)
        slopes[name] = Sensitivity(
            mean.level * factor[0], mean.brightness * factor[1], mean.decay * factor[2]
        )
    return Listener(
        number=number,
        slopes=slopes,
        order_bias=truth.order_bias + truth.order_spread * float(rng.standard_normal()),
        loudness_mix=float(rng.uniform(*truth.loudness_mix)),
        loudness_exponent=float(rng.uniform(*truth.loudness_exponent)),
        glare=float(rng.uniform(*truth.glare)),
        careless=_own_rng(seed, 15, number).random() < truth.careless,
    )


def quirks(truth: Truth, seed: int, attributes: tuple[str, ...], percepts: Percepts) -> dict[str, FloatArray]:
    """(clips,) pull of each clip's recording, by attribute: the same for every listener of the panel."""
    rng = np.random.default_rng(np.random.SeedSequence([seed, 12]))
    n = int(percepts.recording.max()) + 1
    return {name: truth.quirk_sd * rng.standard_normal(n)[percepts.recording] for name in sorted(attributes)}


def tastes(
    truth: Truth, seed: int, number: int, attributes: tuple[str, ...], percepts: Percepts
) -> dict[str, FloatArray]:
    """(clips,) own pull of listener `number` for each clip's condition, by attribute."""
    rng = _own_rng(seed, 16, number)
    n = int(percepts.condition.max()) + 1
    return {name: truth.taste_sd * rng.standard_normal(n)[percepts.condition] for name in sorted(attributes)}


def strength(listener: Listener, attribute: str, percepts: Percepts, quirk: FloatArray) -> FloatArray:
    """(clips,) how much of the attribute this listener hears in each clip, logit."""
    if listener.careless:
        return np.zeros_like(quirk)
    slope = listener.slopes[attribute]
    level_db = own_level_db(listener, percepts)
    above_mean_db = level_db - level_db.mean()
    octaves = percepts.brightness_octaves - percepts.brightness_octaves.mean()
    heard_octaves = octaves * (1.0 + listener.glare * above_mean_db)
    heard: FloatArray = (
        slope.level * listener.loudness_exponent * above_mean_db
        + slope.brightness * heard_octaves
        + slope.decay * percepts.decay_doublings
        + quirk
    )
    return heard


def _own_rng(seed: int, purpose: int, number: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence([seed, purpose, number]))


def own_level_db(listener: Listener, percepts: Percepts) -> FloatArray:
    """(clips,) level as this listener takes it: between LAFmax and LAE."""
    mix = listener.loudness_mix
    return mix * percepts.laf_max_db + (1 - mix) * percepts.lae_db


def chosen(
    first: FloatArray,
    second: FloatArray,
    *,
    order_bias: float | FloatArray,
    truth: Truth,
    tie_allowed: bool,
    draws: FloatArray,
) -> IntArray:
    """(trials,) 0 first, 1 no difference, 2 second.

    Parameters
    ----------
    first, second : (trials,) logit
        What the listener hears in the two sounds.
    draws : (trials, 2) uniform on [0, 1)
        One number decides whether the trial is a lapse, the other which answer it gets.
    """
    advantage = first - second - order_bias
    width = truth.no_difference_width if tie_allowed else 0.0
    to_first = _logistic(advantage - width)
    to_tie = _logistic(advantage + width) - to_first
    lapse = draws[:, 0] < truth.lapses
    n_answers = 3.0 if tie_allowed else 2.0
    to_first = np.where(lapse, 1 / n_answers, to_first)
    to_tie = np.where(lapse, 1 - 2 / n_answers, to_tie)
    return np.where(draws[:, 1] < to_first, 0, np.where(draws[:, 1] < to_first + to_tie, 1, 2))


def _logistic(logit: FloatArray) -> FloatArray:
    return np.asarray(1.0 / (1.0 + np.exp(-logit)))
