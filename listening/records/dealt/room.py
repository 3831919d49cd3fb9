"""The room of a station as the assistant found it: what is noted on the day, in the trade's terms.

Sources: ISO 6658 and ISO 8589 (test room: temperature, humidity, noise, light, odour); IEC 60268-13
(listening room: background noise, reverberation time, places).
"""

from pydantic import Field

from listening.records.forms.form import FileForm

Words = Field(default="", max_length=200, pattern=r"^[^\x00-\x1f\x7f|]*$")


class Room(FileForm):
    """One station on one day; what is left out was not noted."""

    format: int = 1
    noise_db: float | None = Field(default=None, ge=-10, le=90)
    """Background noise at the listener's place, dB(A) re 20 uPa."""
    temperature_c: float | None = Field(default=None, ge=-20, le=60)
    humidity_percent: float | None = Field(default=None, ge=0, le=100)
    reverberation_s: float | None = Field(default=None, ge=0, le=20)
    """Reverberation time, s."""
    light: str = Words
    odour: str = Words
    place: str = Words
    """Where the listener sits, and loudspeakers, if any."""
    remark: str = Words
    noted_by: str = Words
    noted_at: str

    def told(self) -> str:
        """One line, as each sitting keeps it."""
        numbers = (
            ("background noise", self.noise_db, "dB(A)"),
            ("temperature", self.temperature_c, "°C"),
            ("relative humidity", self.humidity_percent, "%"),
            ("reverberation time", self.reverberation_s, "s"),
        )
        words = (
            ("light", self.light),
            ("odour", self.odour),
            ("place", self.place),
            ("remark", self.remark),
            ("noted by", self.noted_by),
        )
        parts = [f"{name} {value:g} {unit}" for name, value, unit in numbers if value is not None]
        parts += [f"{name}: {text}" for name, text in words if text]
        return "; ".join([*parts, f"noted {self.noted_at[:16]} UTC"])
