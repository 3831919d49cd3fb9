"""What a metric is called in print, its unit, and how many decimals it bears."""

from dataclasses import dataclass


@dataclass(frozen=True)
class MetricWords:
    """Name, unit and decimals."""

    name: str
    unit: str
    decimals: int

    @property
    def heading(self) -> str:
        """Name with unit, for a table head or an axis."""
        return f"{self.name}, {self.unit}" if self.unit else self.name


METRICS = {
    "as heard": MetricWords("level as heard", "dB", 1),
    "laf_max_db": MetricWords("LAFmax", "dB", 1),
    "lae_db": MetricWords("LAE", "dB", 1),
    "lc_peak_db": MetricWords("LCpeak", "dB", 1),
    "momentary_max_lufs": MetricWords("momentary loudness, maximum", "LUFS", 1),
    "integrated_lufs": MetricWords("integrated loudness", "LUFS", 1),
    "true_peak_dbtp": MetricWords("true peak", "dBTP", 1),
    "nmax_sone": MetricWords("loudness Nmax", "sone", 1),
    "loudness_level_phon": MetricWords("loudness level", "phon", 1),
    "sharpness_acum": MetricWords("sharpness", "acum", 2),
    "centroid_hz": MetricWords("spectral centroid", "Hz", 0),
    "decay_s": MetricWords("time to a tenth of the loudness", "s", 2),
    "t60_s": MetricWords("T60 of the strongest partials", "s", 2),
    "edt_s": MetricWords("early decay time", "s", 2),
    "t20_s": MetricWords("T20", "s", 2),
    "t30_s": MetricWords("T30", "s", 2),
}


def of(metric: str) -> MetricWords:
    """The words of a metric; an unknown one keeps its key."""
    return METRICS.get(metric, MetricWords(metric, "", 2))


def in_words(text: str) -> str:
    """A text with every metric's key replaced by its name."""
    for key, words in METRICS.items():
        text = text.replace(key, words.name)
    return text


PLAIN = {
    "nmax_sone": "the loudness of {}, in sone,",
    "sharpness_acum": "the sharpness of {}",
    "centroid_hz": "the balance point of the spectrum of {}",
    "decay_s": "the time that {} takes to fall to a tenth of its loudness",
    "t60_s": "the ringing time (T60) of the strongest partials of {}",
    "edt_s": "the early decay time of {}",
    "t20_s": "the decay time T20 of {}",
    "t30_s": "the decay time T30 of {}",
}


def in_plain_words(metric: str, of_what: str) -> str:
    """A metric of something, as a sentence for the public names it."""
    return PLAIN.get(metric, f"{of(metric).name} of {{}}").format(of_what)
