"""Everything about a single sound, without a study: what `listening measure SOUND` prints."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.metrics import channels as channels_of
from listening.metrics import measures, spectrum
from listening.metrics.level import check_not_silent
from listening.metrics.loud import loudness, loudness_bs1770
from listening.metrics.measures import Channel
from listening.metrics.ringing import partials as partials_of
from listening.metrics.ringing import shared_partials, unexplained
from listening.metrics.ringing.partials import Partial
from listening.metrics.ringing.shared_partials import SharedPartial, Source
from listening.metrics.striking import audibility, decay, onset, strike
from listening.metrics.striking.flags import SILENT_CHANNEL

SHORTEST_RANGE_S = 60.0  # EBU Tech 3342: a loudness range of less means little


def measured(path: Path, pascal_per_full_scale: float | None = None) -> dict[str, Any]:
    """Everything about a sound file as plain values; raises as `wav.load` and `described`."""
    return described(path, wav.for_measuring(path, pascal_per_full_scale))


def described(path: Path, sound: Sound) -> dict[str, Any]:
    """Everything about a file as plain values; what a sound cannot have is None, with the reason beside it.

    Raises
    ------
    SoundError
        Nothing but zeros.
    """
    check_not_silent(sound)
    programme = loudness_bs1770.measure(sound)
    apart = [sound.channel(c) for c in range(sound.n_channels)]
    examined = [measures.examine(c) if not c.is_silent else None for c in apart]
    channels = [_channel(c, found) for c, found in zip(apart, examined, strict=True)]
    reasons = {}
    if sound.duration_s < SHORTEST_RANGE_S:
        reasons["loudness_range_lu"] = (
            f"{sound.duration_s:.1f} s long, a loudness range needs {SHORTEST_RANGE_S:.0f} s"
        )
    if programme.integrated_lufs is None:
        reasons["integrated_lufs"] = "no complete block of 0.4 s above -70 LUFS"
    return {
        "file": str(path),
        "rate_hz": sound.rate_hz,
        "duration_s": sound.duration_s,
        "calibrated": sound.calibrated,
        "pascal_per_full_scale": sound.pascal_per_full_scale,
        "flags": sorted({flag for c in channels for flag in c.pop("flags")}),
        "integrated_lufs": programme.integrated_lufs,
        "momentary_max_lufs": programme.momentary_max_lufs,
        "short_term_max_lufs": programme.short_term_max_lufs,
        "loudness_range_lu": None if reasons.get("loudness_range_lu") else programme.range_lu,
        "true_peak_dbtp": programme.true_peak_dbtp,
        "reasons": reasons,
        "channels": channels,
        "shared_partials": _shared(apart, examined),
    }


def together(paths: Sequence[Path], pascal_per_full_scale: float | None = None) -> list[dict[str, Any]]:
    """The partials that strikes of one object share, each file's loudest channel; as plain values.

    Raises
    ------
    SoundError
        Fewer than two files, or one that is silent. Other rates are converted to the first one's.
    """
    strikes = [channels_of.loudest(wav.for_measuring(path, pascal_per_full_scale)) for path in paths]
    alike = [resample.to_rate(s, strikes[0].rate_hz) for s in strikes]
    starts = [onset.find(s).time_s for s in alike]
    found = [partials_of.find(s, onset_s=at) for s, at in zip(alike, starts, strict=True)]
    sources = [Source(*one) for one in zip(alike, starts, found, strict=True)]
    return [asdict(p) | _told(p) for p in shared_partials.find(sources)]


def _shared(apart: Sequence[Sound], examined: Sequence[Channel | None]) -> list[dict[str, Any]]:
    """The partials that the channels of one take share; none of a single channel."""
    heard = [(c, f) for c, f in zip(apart, examined, strict=True) if f is not None]
    if len(heard) < 2:
        return []
    start_s = max(heard, key=lambda one: one[1].levels.laf_max_db)[1].onset.time_s
    sources = [Source(c, start_s, f.partials) for c, f in heard]
    return [asdict(p) | _told(p) for p in shared_partials.find(sources)]


def _told(p: SharedPartial) -> dict[str, Any]:
    return {"known": not p.doubts, "doubts": [d.text for d in p.doubts]}


def _channel(sound: Sound, found: Channel | None) -> dict[str, Any]:
    if found is None:
        return dict.fromkeys(CHANNEL_KEYS) | {
            "partials": [],
            "flags": (SILENT_CHANNEL,),
            "reasons": {"channel": "all samples are zero"},
        }
    nmax = found.course.nmax_sone if found.course else None
    attack = strike.attack(sound, found.onset.time_s, found.partials)
    return {
        "onset_s": found.onset.time_s,
        "laf_max_db": found.levels.laf_max_db,
        "las_max_db": found.levels.las_max_db,
        "la_eq_db": found.levels.la_eq_db,
        "lae_db": found.levels.lae_db,
        "lc_peak_db": found.levels.lc_peak_db,
        "nmax_sone": nmax,
        "steady_sone": _steady_sone(sound, found),
        "n5_sone": found.n5_sone,
        "loudness_level_phon": loudness.level_phon(nmax) if nmax is not None else None,
        "sharpness_acum": found.sharpness_acum,
        "centroid_hz": found.centroid_hz,
        "share_above_4_khz": spectrum.high_share(sound) if found.centroid_hz is not None else None,
        "decay_s": decay.study_decay_s(found.course) if found.course else None,
        "inaudible_after_s": _inaudible_after_s(found),
        "t60_s": partials_of.mean_t60_s(found.partials) if found.partials else None,
        "edt_s": found.decays.edt_s,
        "t20_s": found.decays.t20_s,
        "t30_s": found.decays.t30_s,
        "t20_nonlinearity_permille": found.decays.t20_nonlinearity_permille,
        "t30_nonlinearity_permille": found.decays.t30_nonlinearity_permille,
        "curvature_percent": found.decays.curvature_percent,
        "usable_range_db": found.decays.usable_range_db if found.decays.usable_range_db < 1e6 else None,
        "rise_s": attack.rise_s,
        "attack_s": attack.attack_s,
        "strike_noise_db": attack.strike_noise_db,
        "unexplained_share": unexplained.share(sound, found.onset.time_s, found.partials),
        "t20_s_by_octave": _t20_s_by_octave(sound, found),
        "frequency_ratios": list(partials_of.inharmonicity(found.partials)) if found.partials else [],
        "partials": [partial(p) for p in found.partials],
        "reasons": _reasons(found),
        "flags": found.flags,
    }


CHANNEL_KEYS = (
    "onset_s", "laf_max_db", "las_max_db", "la_eq_db", "lae_db", "lc_peak_db", "nmax_sone", "n5_sone",
    "loudness_level_phon", "sharpness_acum", "centroid_hz", "decay_s", "inaudible_after_s", "t60_s",
    "edt_s", "t20_s", "t30_s", "share_above_4_khz", "steady_sone", "t20_s_by_octave", "frequency_ratios",
    "usable_range_db", "unexplained_share", "rise_s", "attack_s", "strike_noise_db",
    "t20_nonlinearity_permille", "t30_nonlinearity_permille", "curvature_percent",
)  # fmt: skip


def _steady_sone(sound: Sound, found: Channel) -> float | None:
    """Loudness of a steady sound (ISO 532-1, clause 5); a strike has none."""
    if not sound.calibrated or found.rings_out or sound.duration_s <= loudness.SETTLING_S:
        return None
    return loudness.stationary(sound).loudness_sone


def _t20_s_by_octave(sound: Sound, found: Channel) -> dict[str, float | None]:
    """T20 of each octave of what rings, by its nominal middle in Hz; None where noise hides it."""
    if not found.rings_out:
        return {}
    by_band = decay.by_band(sound, found.onset.time_s, per_octave=1)
    return {f"{middle:.0f}": decays.t20_s for middle, decays in by_band.items()}


def _inaudible_after_s(found: Channel) -> float | None:
    if found.course is None or not found.rings_out:
        return None
    return audibility.inaudible_after_s(found.course, found.onset.time_s)


def _reasons(found: Channel) -> dict[str, str]:
    reasons: dict[str, str] = {}
    if found.course is None:
        wanting = "not calibrated: give --pascal-per-full-scale"
        reasons |= dict.fromkeys(
            (
                "nmax_sone",
                "steady_sone",
                "n5_sone",
                "loudness_level_phon",
                "sharpness_acum",
                "decay_s",
                "inaudible_after_s",
            ),
            wanting,
        )
    elif found.n5_sone is None:
        reasons["n5_sone"] = (
            "a single strike: the value would depend on how long the recording runs; use nmax_sone"
        )
        reasons["steady_sone"] = "a single strike is not steady; use nmax_sone"
    if found.course is not None and decay.study_decay_s(found.course) is None:
        reasons["decay_s"] = "the recording ends before the loudness has fallen to a tenth"
    for name in ("edt_s", "t20_s", "t30_s"):
        if getattr(found.decays, name) is None:
            reasons[name] = "noise, or the recording's end, hides the range it is read from"
    if found.decays.is_curved:
        reasons["curvature_percent"] = (
            "the decay is far from one straight line: T20 and T30 tell of its parts"
        )
    if not found.partials:
        reasons["partials"] = "nothing rings clearly above the noise for 0.3 s"
    return reasons


def partial(p: Partial) -> dict[str, Any]:
    """A partial as plain values."""
    return {
        "frequency_hz": p.frequency_hz,
        "frequency_se_hz": p.frequency_se_hz,
        "level_db": p.level_db,
        "t60_s": p.t60_s,
        "t60_se_s": p.t60_se_s,
        "t60_noise_se_s": p.t60_noise_se_s,
        "known": not p.doubts,
        "doubts": [d.text for d in p.doubts],
        "unseen_split_hz": p.unseen_split_hz,
        "unexplained_share": p.unexplained_share,
        "snr_db": p.snr_db,
        "beating": list(p.beating),
        "beat_rates_hz": list(p.beat_rates_hz),
        "beat_depths_db": list(p.beat_depths_db),
        "two_stage": list(p.two_stage),
        "quality": p.quality,
        "damping_ratio": p.damping_ratio,
    }
