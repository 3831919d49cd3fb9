"""What simulated studies came to: how often each verdict fell, for each panel size and effect."""

from listening.records.forms.form import FileForm, Form


class Assumed(Form):
    """What is taken for granted about the panel; log-odds."""

    spread_listeners: float = 0.6
    """Standard deviation of the listeners' own effects."""
    spread_stimuli: float = 0.15
    """Standard deviation of a strike about its condition."""
    spread_specimens: float = 0.0
    """Standard deviation of a specimen about its condition, if specimens are told apart."""
    order: float = 0.1
    """Pull towards the sound heard second."""
    lapses: float = 0.02
    """Share of trials answered by chance."""
    logit_per_db: float = 0.1
    """What a decibel of level alone does, where the attribute is not about level; stated, not measured."""
    level_logit_per_db: float = 0.8
    """And where it is: which of two is louder."""
    source: str = "stated defaults, not measured"


class PowerCell(Form):
    """Simulated studies of one size, number of repeats and true effect."""

    listeners: int
    repeats: int
    effect_logit: float
    effect_said: str
    """The effect in the words it was given in."""
    supported: int = 0
    contradicted: int = 0
    undecided: int = 0
    no_verdict: int = 0

    @property
    def studies(self) -> int:
        """How many were simulated."""
        return self.supported + self.contradicted + self.undecided + self.no_verdict


class PowerTable(FileForm):
    """All cells of one question under one set of assumptions; simulated studies can be added to it."""

    format: int = 1
    version: str
    protocol_digest: str
    question: str
    kind: str
    alpha: float
    """One-sided, with the correction for the question's family (its first step) and the spending rule."""
    seed: int
    assumed: Assumed
    cells: tuple[PowerCell, ...] = ()
