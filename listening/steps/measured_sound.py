"""One sound measured, and its partials, as a notebook holds them."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listening.audio import wav
from listening.metrics import channels
from listening.metrics.ringing import partials as partials_of
from listening.metrics.ringing.partials import Partial
from listening.metrics.striking import onset
from listening.steps import sound_lines, sound_measures

if TYPE_CHECKING:
    import pandas as pd

IN_PARTS = ("partials", "reasons", "t20_s_by_octave", "frequency_ratios")  # of a channel: no single number


@dataclass(frozen=True)
class MeasuredSound:
    """Every metric of a sound file; of a channel's metrics, those of the one with the largest LAFmax.

    A metric is an attribute by its key (`found.nmax_sone`); None where the sound cannot have it, with the
    reason in `found.reasons`.
    """

    values: dict[str, Any]
    """As `listening measure SOUND --json` prints them, one object in `channels` for each."""

    @property
    def loudest(self) -> dict[str, Any]:
        """The channel with the largest LAFmax."""
        heard = [c for c in self.values["channels"] if c["laf_max_db"] is not None]
        return dict(max(heard, key=lambda c: float(c["laf_max_db"])))

    @property
    def reasons(self) -> dict[str, str]:
        """Why a metric is None."""
        return {**self.values["reasons"], **self.loudest["reasons"]}

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__") or name == "values":
            raise AttributeError(name)
        for place in (self.values, self.loudest):
            if name in place:
                return place[name]
        raise AttributeError(f"no metric {name!r}; found {', '.join([*self.values, *self.loudest])}")

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening measure SOUND --json` prints them."""
        return self.values

    def to_frame(self) -> "pd.DataFrame":
        """A row a channel: what is of the file, then what is of the channel; only single values."""
        import pandas as pd

        of_file = {k: v for k, v in self.values.items() if k not in ("channels", "reasons", "flags")}
        rows = []
        for number, channel in enumerate(self.values["channels"], start=1):
            own = {k: v for k, v in channel.items() if k not in IN_PARTS}
            rows.append({"channel": number, **of_file, **own})
        return pd.DataFrame(rows).set_index("channel")

    def summary(self) -> str:
        """The text that `listening measure SOUND` prints."""
        return "\n".join(sound_lines.lines(self.values))

    def __str__(self) -> str:
        return self.summary()


@dataclass(frozen=True)
class FoundPartials:
    """The partials of a sound's channel with the largest LAFmax, loudest at the onset first."""

    partials: tuple[Partial, ...]

    def __len__(self) -> int:
        return len(self.partials)

    def to_dict(self) -> list[dict[str, Any]]:
        """Plain values, as `listening measure SOUND --json` prints them."""
        return [sound_measures.partial(p) for p in self.partials]

    def to_frame(self) -> "pd.DataFrame":
        """A row a partial: frequency_hz, level_db, t60_s with their standard errors, and more."""
        import pandas as pd

        heads = [*Partial.__dataclass_fields__, "quality", "damping_ratio"]
        rows = [
            {
                **asdict(p),
                "doubts": "; ".join(d.text for d in p.doubts),
                "quality": p.quality,
                "damping_ratio": p.damping_ratio,
            }
            for p in self.partials
        ]
        return pd.DataFrame(rows, columns=heads)


def measure(path: str | Path, *, pascal_per_full_scale: float | None = None) -> MeasuredSound:
    """Every metric of a sound file, as `listening measure SOUND` has them.

    Parameters
    ----------
    path : WAV, FLAC, AIFF or another file that libsndfile reads
    pascal_per_full_scale : above 0, Pa
        Sound pressure of a sample of value 1; without it levels are dB re full scale and what needs a
        pressure (sone, phon, acum) is None.

    Raises
    ------
    ListeningError
        No such file, no readable sound, nothing but zeros, or an impossible calibration.

    Source: IEC 61672-1, ITU-R BS.1770, ISO 532-1, DIN 45692, as `listening.metrics` has them.
    """
    return MeasuredSound(sound_measures.measured(Path(path), pascal_per_full_scale))


def partials(path: str | Path, *, pascal_per_full_scale: float | None = None) -> FoundPartials:
    """The partials of a ringing sound; parameters and errors as `measure`.

    Levels are rms at the onset, dB re 20 µPa where calibrated, else re full scale.
    """
    channel = channels.loudest(wav.for_measuring(Path(path), pascal_per_full_scale))
    return FoundPartials(partials_of.find(channel, onset_s=onset.find(channel).time_s))
