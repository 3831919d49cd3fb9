"""What `listening prepare` prints: the match, what it leaves open, what was moved, and the pairs to come."""

import math
import textwrap

from listening.analysis.collect.adjustments import disagreeing
from listening.design import dealt_trial
from listening.errors import StudyError
from listening.planning import covariate_criticism, level_criticism
from listening.planning.covariate_criticism import Preview
from listening.records.kinds import metric_register
from listening.records.protocols import protocol
from listening.records.protocols.protocol import MATCHED
from listening.records.sounds.ear_gains import EarGains
from listening.records.sounds.manifest import Isolated, Manifest
from listening.records.study import Study
from listening.stimuli import residuals
from listening.stimuli.residuals import Departure


def summary(study: Study, manifest: Manifest) -> list[str]:
    """How many stimuli there are and how well they match."""
    lines = [
        f"prepared {len(manifest.stimuli)} stimuli in {study.stimuli}, "
        f"common headroom offset {manifest.headroom_offset_db:+.2f} dB"
    ]
    left = [abs(s.residual_db) for s in manifest.stimuli if s.residual_db is not None]
    if left and manifest.matching_metric and manifest.target is not None:
        unit = metric_register.named(manifest.matching_metric).matched_unit
        lines.append(
            f"matched to {manifest.target:.2f} {unit}, {manifest.matching_label}; "
            f"largest residual {max(left):.3f}, tolerance {manifest.tolerance_db:g}"
        )
    faded = [s for s in manifest.stimuli if s.after["nmax_sone"] is not None and s.after["decay_s"] is None]
    if faded:
        which = f"{len(faded)} stimuli, such as {faded[0].stimulus}"
        lines.append(
            f"decay not known of {which}: it fades before a tenth of the loudness; a question on ringing "
            "would ask about the fade (check says which trimming.length_s would do)"
        )
    return lines


def table(spreads: list[residuals.Spread]) -> list[str]:
    """The spread of every metric in every presentation."""
    names = list(dict.fromkeys(s.presentation for s in spreads))
    lines = ["largest minus smallest over the set", f"  {'metric':<22}" + "".join(f"{n:>14}" for n in names)]
    for metric in dict.fromkeys(s.metric for s in spreads):
        by_name = {s.presentation: s.spread for s in spreads if s.metric == metric}
        cells = "".join(f"{by_name[n]:>14.2f}" if n in by_name else f"{'':>14}" for n in names)
        lines.append(f"  {metric:<22}{cells}")
    if MATCHED in names:
        lines.append(
            f"what `{MATCHED}` still spreads in other metrics is what the choice of metric leaves open"
        )
    return lines


def moved(manifest: Manifest) -> list[str]:
    """What moved and what stayed in each isolated stimulus, against its own base strike."""
    isolated = [(s, s.isolated) for s in manifest.stimuli if s.isolated is not None]
    if not isolated:
        return []
    head = f"{'brightness':>11}{'decay':>7}{'peak, dB':>9}{'noise, dB':>10}{'onset, ms':>10}"
    lines = [
        "what moved against the untouched strike at the matched level (brightness, decay: ratios;",
        "peak, strike's noise, onset: differences)",
        f"  {'stimulus':<30}{head}",
    ]
    for stimulus, moved in isolated:
        noise = "-" if moved.strike_noise_db is None else f"{moved.strike_noise_db:+.2f}"
        lines.append(
            f"  {stimulus.stimulus:<30}{moved.brightness_ratio or 0:>11.3f}{moved.decay_ratio or 0:>7.3f}"
            f"{moved.peak_db:>+9.2f}{noise:>10}{moved.onset_ms:>+10.1f}"
        )
    lines.append("T60 of every partial, s: before > after; the strongest within 2 % of what was asked")
    for stimulus, moved in isolated:
        lines += _t60_lines(stimulus.stimulus, moved)
    return lines


def _t60_lines(name: str, moved: Isolated) -> list[str]:
    """The T60s of one stimulus, as many to a line as 80 columns hold."""
    cells = [
        f"{p.frequency_hz:.0f} Hz {p.t60_before_s:.2f} > {p.t60_after_s:.2f}"
        for p in (*moved.partials, *moved.other_partials)
    ]
    text = f"colour {moved.tilt_db_per_octave:+.2f} dB/octave; " + ", ".join(cells)
    return [f"  {name}", *textwrap.wrap(text, 76, initial_indent="    ", subsequent_indent="    ")]


def level_left(study: Study, manifest: Manifest) -> list[str]:
    """Where the control pairs do not bound the level that matching left over, or bound it loosely."""
    found = level_criticism.measured(protocol.load(study.protocol), manifest)
    return [f"caution: {line}" for line in found]


def previews(study: Study, manifest: Manifest) -> list[tuple[Preview, list[str]]]:
    """How the pairs differ in what may be heard; nothing when a metric of [covariates] cannot be had."""
    try:
        found = covariate_criticism.of_study(protocol.load(study.protocol), manifest)
    except StudyError:
        return []
    return [
        (one, covariate_criticism.advice(one, dealt_trial.strikes(manifest, one.presentation)))
        for one in found
    ]


def pairs(found: Preview) -> list[str]:
    """The pairs of one presentation, and how far what varies goes together."""
    level, brightness, decay = found.metrics
    lines = [
        f"pairs of `{found.presentation}`, without listening (first against second)",
        f"  {'pair':<34}{level:>20}{brightness + ' ratio':>22}{decay + ' ratio':>18}  dominant",
    ]
    lines += [
        f"  {f'{p.first} - {p.second}':<34}{p.level_db:>+20.2f}{p.brightness_ratio:>22.3f}"
        f"{p.decay_ratio:>18.3f}  {p.dominant}"
        for p in found.pairs
    ]
    inflation = found.largest_inflation
    together = f"inflation {inflation:.2f}" if inflation < math.inf else "too few pairs to tell them apart"
    return [*lines, f"  varying: {', '.join(found.varying) or 'nothing'}; {together}"]


def cautions(previews: list[tuple[Preview, list[str]]]) -> list[str]:
    """What cannot be told apart, by presentation."""
    return [
        f"caution, pairs of `{found.presentation}`: {line.strip()}"
        for found, warnings in previews
        for line in warnings
    ]


def pairs_as_json(found: Preview, warnings: list[str]) -> dict[str, object]:
    """The same for programs."""
    return {
        "presentation": found.presentation,
        "metrics": found.metrics,
        "pairs": [vars(p) for p in found.pairs],
        "varying": found.varying,
        "correlation": found.correlation.tolist(),
        "inflation": [v if v < float("inf") else None for v in found.inflation.tolist()],
        "cautions": warnings,
    }


def by_ear(found: EarGains) -> list[str]:
    """Gains by ear beyond the computed match, pair by pair."""
    who = "simulated listeners" if found.simulated else "listeners"
    differ = {(p.first, p.second) for p in disagreeing(found)}
    lines = [
        f"adjusted by ear by {found.n_listeners} {who}: gain of the second beyond the computed match "
        f"({found.metric}), mean and standard error"
    ]
    lines += [
        f"  {f'{p.first} - {p.second}':<34}{p.gain_db:>+8.2f} dB  SE {p.se_db:.2f}"
        f"{'  differs from the computed match' if (p.first, p.second) in differ else ''}"
        for p in found.pairs
    ]
    return lines


def departure(found: Departure) -> list[str]:
    """What another playback level does to the match."""
    line = (
        f"played {found.departure_db:+g} dB from the level matched at, the set spreads "
        f"{found.spread_there_phon:.2f} phon instead of {found.spread_phon:.2f}"
    )
    if not found.warns:
        return [line]
    return [f"caution: {line}; set playback.level_db to the panel's level and prepare again"]
