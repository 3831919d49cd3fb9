"""What two sets of strikes say of each other: the form that `measure` keeps for the page."""

from listening.records.forms.form import FileForm, Form


class ComparedRow(Form):
    """One metric on both sides; `difference` is b less a, except of what is lost; limits over strikes."""

    metric: str
    unit: str
    a: float | None
    b: float | None
    difference: float
    ratio: float | None
    lower: float | None
    upper: float | None
    strikes_a: int
    strikes_b: int
    inside_repeatability: bool | None


class ComparedPartial(Form):
    """One partial on both sides; `lower` and `upper` are limits of the ratio of T60, b over a."""

    a_hz: float | None
    b_hz: float | None
    shift_hz: float | None
    shift_lower_hz: float | None
    shift_upper_hz: float | None
    level_a_db: float | None
    level_b_db: float | None
    level_db: float | None
    level_lower_db: float | None
    level_upper_db: float | None
    t60_a_s: float | None
    t60_b_s: float | None
    t60_ratio: float | None
    lower: float | None
    upper: float | None
    modes_a: int
    modes_b: int
    strikes_a: int
    strikes_b: int
    inside_repeatability: bool | None
    known: bool
    why: str
    common_poles: bool = False


class ComparedBand(Form):
    """Exposure level of one octave or third-octave on both sides; limits of what is lost."""

    midband_hz: float
    per_octave: int
    a_db: float | None
    b_db: float | None
    lost_db: float | None
    lost_percent: float | None
    lower: float | None
    upper: float | None
    inside_repeatability: bool | None
    known: bool
    why: str


class ComparedStay(Form):
    """A metric's difference here and elsewhere; limits of there less here."""

    metric: str
    unit: str
    here: float
    there: float
    change: float
    lower: float | None
    upper: float | None
    inside_repeatability: bool | None


class Comparison(Form):
    """Side a, such as hung free, with side b, such as on the handlebar."""

    a: str
    b: str
    calibrated: bool
    length_s: float
    above_db: float | None
    background: bool
    not_known: dict[str, str]
    rows: tuple[ComparedRow, ...]
    partials: tuple[ComparedPartial, ...]
    bands: tuple[ComparedBand, ...]
    elsewhere: tuple[ComparedStay, ...] = ()
    """whether the same two differ elsewhere as they do here; empty where nobody asked"""
    place: str = ""
    """where that is, such as handlebar; empty where nobody said"""

    def row(self, metric: str) -> ComparedRow | None:
        """The row of a metric; None where a side does not have it."""
        return next((r for r in self.rows if r.metric == metric), None)


class Comparisons(FileForm):
    """Those of a study: for each factor of two values, the values compared within each other condition."""

    format: int = 1
    version: str
    protocol_digest: str
    comparisons: tuple[Comparison, ...]
