"""How a protocol wants its stimuli played: at which level, to which ears, through which headphones."""

from typing import Literal

from pydantic import Field

from listening.records.forms.form import Form


class Playback(Form):
    """What the panel hears against what the microphone heard."""

    level_db: float = Field(
        0.0,
        ge=-40,
        le=20,
        description="Level at the listener over that of the recording; loudness is matched at this level.",
    )
    over: Literal["", "headphones", "loudspeakers"] = Field(
        "",
        description="What the panel hears it over, for the footnote of a printed sentence; empty: not said.",
    )
    ears: Literal["as recorded", "both", "left", "right"] = Field(
        "as recorded", description="`both`: the mean of all channels to both ears; `left`, `right`: one side."
    )
    response: str | None = Field(
        None,
        description="Measured response of headphones or loudspeaker, relative to the recordings folder: an "
        "impulse response (WAV, FLAC) or a table `frequency_hz,level_db` (CSV). Stimuli undo it.",
    )
    boost_limit_db: float = Field(
        10.0, ge=0, le=24, description="The filter never raises a frequency by more than this."
    )
    compensated_hz: tuple[float, float] = Field(
        (50.0, 16_000.0), description="Outside this range the filter goes on level."
    )
