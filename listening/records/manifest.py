"""What `prepare` made: each stimulus with its hash, gain, and metrics measured from the written file."""

from typing import Literal

from listening.records.form import FileForm, Form

Role = Literal["study", "anchor"]
End = Literal["", "more", "less"]


class Stimulus(Form):
    """One prepared sound file."""

    stimulus: str
    """Id, unique in the manifest."""
    role: Role
    recording: str
    condition: str
    """Empty for an anchor."""
    strike: str
    presentation: str
    """`as recorded` or `matched`; an anchor is `as recorded`."""
    attribute: str = ""
    """For an anchor: the attribute it explains."""
    end: End = ""
    """For an anchor: which end of the attribute."""
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
    headroom_offset_db: float
    """One common gain for the whole set, so that no stimulus clips."""
    stimuli: tuple[Stimulus, ...]

    def of(self, stimulus: str) -> Stimulus:
        """The stimulus of that id."""
        return next(s for s in self.stimuli if s.stimulus == stimulus)
