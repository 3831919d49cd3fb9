"""The metrics a study stores, one frozen `Metric` each: what a step prints or allows of one is asked here.

How each is computed stands in `listening/metrics/`; the order here is the order of the columns.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal


@dataclass(frozen=True)
class Metric:
    """One metric, by the key that measures.json, the manifest and the protocol give it."""

    key: str
    """Ends in the unit."""
    name: str
    """As a table or an axis has it."""
    symbol: str
    """As its standard writes it; underscores before what stands below the line."""
    unit: str
    decimals: int
    """That its uncertainty bears in print."""
    plain: str
    """What it is of a thing called {}, for readers who measure nothing."""
    standard: str | None
    """With edition or clause; None: our own, told in the documentation."""
    is_ratio: bool = False
    """Whether "three times as much" means something: the scale has a true zero and equal steps."""
    needs_calibration: bool = False
    """Whether it can be had only where pascal per full scale is known."""
    matched_as: str | None = None
    """How a set that was matched on it is labelled; None: nothing is matched on it."""
    matched_key: str | None = None
    """Key of what is held equal instead, where that adds as decibels do."""
    is_peak: bool = False
    """Whether it is of a single instant, so that it does not say how strong a sound is."""
    takes_level: bool = False
    """Whether it is one of the ways in which level is taken where a claim goes beyond level."""
    is_digital: bool = False
    """Whether it is of the file: relative to full scale, calibrated or not."""
    in_summary: bool = False
    """Whether `listening measure` prints it of a study; the files hold all."""

    @property
    def heading(self) -> str:
        """Name with unit, for a table head or an axis."""
        return f"{self.name}, {self.unit}" if self.unit else self.name

    @property
    def is_level(self) -> bool:
        """Whether it is in decibels or phons, which add."""
        return self.unit in ("dB", "LUFS", "dBTP", "phon")

    @property
    def measured_key(self) -> str:
        """Key under which what matching holds equal is measured."""
        return self.matched_key or self.key

    @property
    def matched_unit(self) -> str:
        """Unit of the target and the residual of a set matched on it."""
        return METRICS[self.measured_key].unit

    @property
    def residual_unit(self) -> str:
        """Unit of a difference in what matching holds equal."""
        return self.matched_unit if self.matched_unit == "phon" else "dB"


ALL = (
    Metric(
        "laf_max_db", "LAFmax", "L_AFmax", "dB", 1,
        "the highest level of {}", "IEC 61672-1:2013, 5.8 and annex E",
        matched_as="level-based (LAFmax)", takes_level=True, in_summary=True,
    ),
    Metric(
        "lae_db", "LAE", "L_AE", "dB", 1,
        "the sound exposure level of {}", "IEC 61672-1:2013, annex E",
        matched_as="level-based (LAE)", takes_level=True, in_summary=True,
    ),
    Metric(
        "lc_peak_db", "LCpeak", "L_Cpeak", "dB", 1,
        "the peak level of {}", "IEC 61672-1:2013, annex E",
        is_peak=True,
    ),
    Metric(
        "momentary_max_lufs", "momentary loudness, maximum", "L_Mmax", "LUFS", 1,
        "the highest momentary level of {}", "ITU-R BS.1770; EBU Tech 3341",
        matched_as="level-based (BS.1770 maximum momentary)", is_digital=True, in_summary=True,
    ),
    Metric(
        "integrated_lufs", "integrated loudness", "L_K", "LUFS", 1,
        "the integrated level of {}", "ITU-R BS.1770, annex 1",
        matched_as="level-based (BS.1770 integrated)", is_digital=True,
    ),
    Metric(
        "true_peak_dbtp", "true peak", "TP", "dBTP", 1,
        "the true peak of {}", "ITU-R BS.1770, annex 2",
        matched_as="level-based (true peak)", is_peak=True, is_digital=True,
    ),
    Metric(
        "nmax_sone", "loudness Nmax", "N_max", "sone", 1,
        "the loudness of {}, in sone,", "ISO 532-1:2017, clause 6",
        is_ratio=True, needs_calibration=True, in_summary=True,
        matched_as="loudness-based (ISO 532-1 Nmax)", matched_key="loudness_level_phon",
    ),
    Metric(
        "loudness_level_phon", "loudness level", "L_N", "phon", 1,
        "the loudness level of {}", "ISO 532-1:2017, 5.8",
        needs_calibration=True, takes_level=True,
    ),
    Metric(
        "sharpness_acum", "sharpness", "S", "acum", 2,
        "the sharpness of {}", "DIN 45692:2009, equation (2)",
        is_ratio=True, needs_calibration=True, in_summary=True,
    ),
    Metric(
        "centroid_hz", "spectral centroid", "f_c", "Hz", 0,
        "the balance point of the spectrum of {}", None,
        is_ratio=True, in_summary=True,
    ),
    Metric(
        "decay_s", "time to a tenth of the loudness", "t_10", "s", 2,
        "the time that {} takes to fall to a tenth of its loudness", None,
        is_ratio=True, needs_calibration=True, in_summary=True,
    ),
    Metric(
        "t60_s", "T60 of the strongest partials", "T_60", "s", 2,
        "the ringing time (T60) of the strongest partials of {}", None,
        is_ratio=True, in_summary=True,
    ),
    Metric(
        "edt_s", "early decay time", "EDT", "s", 2,
        "the early decay time of {}", "ISO 3382-2:2008, 5.3.3",
        is_ratio=True,
    ),
    Metric(
        "t20_s", "T20", "T_20", "s", 2,
        "the decay time T20 of {}", "ISO 3382-2:2008, 5.3.3",
        is_ratio=True,
    ),
    Metric(
        "t30_s", "T30", "T_30", "s", 2,
        "the decay time T30 of {}", "ISO 3382-2:2008, 5.3.3",
        is_ratio=True,
    ),
)  # fmt: skip
METRICS = {metric.key: metric for metric in ALL}
LEVEL_KEYS = tuple(metric.key for metric in ALL if metric.takes_level)

if TYPE_CHECKING:
    MatchingMetric = str
else:
    MatchingMetric = Literal[tuple(metric.key for metric in ALL if metric.matched_as)]


def named(key: str) -> Metric:
    """The metric of this key; an unknown one, of a file from elsewhere, goes by its key."""
    return METRICS.get(key) or Metric(key, key, key, "", 2, f"{key} of {{}}", None)


def in_words(text: str) -> str:
    """A text with every metric's key replaced by its name."""
    for metric in ALL:
        text = text.replace(metric.key, metric.name)
    return text


def in_plain_words(key: str, of_what: str) -> str:
    """A metric of something, as a sentence for the public names it."""
    return named(key).plain.format(of_what)
