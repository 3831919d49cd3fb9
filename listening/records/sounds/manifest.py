"""What `prepare` made: each stimulus with its hash, gain, and metrics measured from the written file."""

from typing import Annotated, Literal

from listening.records.forms.form import FileForm, Form
from listening.records.protocols.roles import FIRST_NAMED_ANCHOR

Role = Annotated[Literal["study", "example"], *FIRST_NAMED_ANCHOR]
End = Literal["", "more", "less"]


class MovedPartial(Form):
    """One partial of an isolated stimulus."""

    frequency_hz: float
    t60_before_s: float
    t60_wanted_s: float
    t60_after_s: float
    """Fitted anew to the stimulus."""


class Isolated(Form):
    """What was moved to make an isolated stimulus, and what moved with it."""

    tilt_db_per_octave: float
    damping_factor: float
    """At 1 kHz."""
    damping_slope: float
    """Change of the log factor over one neper of frequency."""
    brightness_ratio: float | None
    """Against the untouched base strike, both at the matched level."""
    decay_ratio: float | None
    explained: float
    """Share of the base strike's energy, from 50 ms to the noise, that its partials account for."""
    partials: tuple[MovedPartial, ...]
    """The strongest, up to five: each is held to 2 % of what was asked."""
    other_partials: tuple[MovedPartial, ...] = ()
    """All others that can be measured: told, not held."""
    peak_db: float = 0.0
    """Peak over that of the untouched strike, both at the matched level."""
    strike_noise_db: float | None = None
    """Energy of the first 50 ms that no partial explains, likewise; None where there is none."""
    onset_ms: float = 0.0
    """Onset, found anew, after that of the untouched strike."""


class Stimulus(Form):
    """One prepared sound file."""

    stimulus: str
    """Id, unique in the manifest."""
    role: Role
    recording: str
    condition: str
    """Empty for an example."""
    strike: str
    presentation: str
    """`as recorded`, `matched` or `isolated`; an example is `as recorded`."""
    attribute: str = ""
    """For an example: the attribute it explains."""
    end: End = ""
    """For an example: which end of the attribute."""
    file: str
    """Name within the stimuli folder."""
    digest: str
    """SHA-256 of the decoded samples."""
    gain_db: float
    """Against the recording, the common headroom offset included."""
    before: dict[str, float | None]
    """Metrics of the trimmed sound before its gain, at the set's common calibration."""
    after: dict[str, float | None]
    """Metrics measured from the written file."""
    residual_db: float | None = None
    """After matching: the matching metric minus the set's target (dB or phon)."""
    isolated: Isolated | None = None


class Manifest(FileForm):
    """The set."""

    format: int = 1
    version: str
    protocol_digest: str
    rate_hz: int
    calibrated: bool
    pascal_per_full_scale: float | None = None
    """Of the written files: played so, they sound at the level of the recording position."""
    matching_metric: str | None
    matching_label: str
    """What the match is based on, for print: `level-based (LAFmax)`."""
    target: float | None
    tolerance_db: float | None
    isolated_target: float | None = None
    """What isolated stimuli are matched to, in the metric their presentation names."""
    headroom_offset_db: float
    """One common gain for the whole set, so that no stimulus clips."""
    stimuli: tuple[Stimulus, ...]

    def of(self, stimulus: str) -> Stimulus:
        """The stimulus of that id."""
        return next(s for s in self.stimuli if s.stimulus == stimulus)
