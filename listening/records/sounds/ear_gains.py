"""What a panel's adjustments by ear say: how much each condition has to move beyond its computed match."""

from listening.records.forms.form import FileForm, Form


class EarPair(Form):
    """One pair of conditions, over listeners."""

    first: str
    second: str
    gain_db: float
    """Of the second over the first beyond the computed match, so that they are equally loud to the panel."""
    se_db: float
    n_listeners: int


class EarGain(Form):
    """One condition; the gains of all conditions sum to zero."""

    condition: str
    gain_db: float
    """Beyond the computed match."""
    se_db: float


class EarGains(FileForm):
    """All of them."""

    format: int = 1
    study_digest: str
    """Of the adjustment study."""
    metric: str
    """Of the computed match that they start from."""
    n_listeners: int
    simulated: bool
    pairs: tuple[EarPair, ...]
    conditions: tuple[EarGain, ...]

    def of(self, condition: str) -> EarGain | None:
        """The gain of a condition, if it was adjusted."""
        return next((g for g in self.conditions if g.condition == condition), None)
