"""The calibration of a station's headphones: the level at the ear of a full-scale signal."""

import math

from pydantic import Field

from listening.records.forms.form import FileForm

REFERENCE_PASCAL = 20e-6  # ISO 1683: reference of sound pressure level in air


class Level(FileForm):
    """One calibration, for one device, one pair of headphones and one setting of every volume knob."""

    format: int = 1
    device: str = Field(min_length=1)
    headphones: str = Field(min_length=1)
    """Make and model, or a serial number: what was on the coupler."""
    coupler: str = Field(min_length=1)
    """Ear simulator or coupler, with its standard: IEC 60318-1, IEC 60318-4."""
    side: str
    """Which side was measured: left, right or both."""
    field: str = "none"
    """Which correction was applied: free, diffuse or none."""
    correction_db: float = Field(default=0.0, ge=-30, le=30)
    """Added to the reading: from the coupler to the free or diffuse field, at the signal's frequency."""
    signal_db: float
    """Level of the calibration signal, dB re full scale (RMS over 1)."""
    reading_db: float = Field(ge=20, le=130)
    """What the meter showed, dB re 20 µPa."""
    ceiling_db: float = Field(default=85.0, ge=40, le=100)
    """No clip may exceed this LAFmax, dB re 20 µPa, at the ear."""
    calibrated_at: str

    @property
    def pascal_per_full_scale(self) -> float:
        """Sound pressure, RMS, of a signal whose RMS is 1."""
        level_db = self.reading_db + self.correction_db - self.signal_db
        return REFERENCE_PASCAL * 10 ** (level_db / 20)

    def at_ear_db(self, level_db: float) -> float:
        """Level at the ear of a signal of `level_db` re full scale."""
        return level_db + 20 * math.log10(self.pascal_per_full_scale / REFERENCE_PASCAL)
