"""Single sounds as `listening measure SOUND` prints them."""

from collections.abc import Sequence
from typing import Any

SHOWN_PARTIALS = 6
SMALLEST_SHARE = 1e-4  # of the energy, that is printed


def lines(one: dict[str, Any]) -> list[str]:
    unit = "dB" if one["calibrated"] else "dB re full scale"
    head = f"{one['file']}: {one['rate_hz']} Hz, {one['duration_s']:.2f} s"
    if one["calibrated"]:
        head += f", {one['pascal_per_full_scale']:.5g} Pa per full scale"
    made = [head + (f"; look at: {', '.join(one['flags'])}" if one["flags"] else "")]
    made.append(
        f"  integrated {_number(one['integrated_lufs'], 1, 'LUFS')}, "
        f"largest momentary {_number(one['momentary_max_lufs'], 1, 'LUFS')}, "
        f"true peak {_number(one['true_peak_dbtp'], 1, 'dBTP')}"
    )
    for index, channel in enumerate(one["channels"]):
        made += _channel_lines(channel, index + 1, unit)
    if one["shared_partials"]:
        made += shared_lines(one["shared_partials"], "channels")
    return made


def shared_lines(shared: Sequence[dict[str, Any]], what: str) -> list[str]:
    """Partials with poles common to several `what`."""
    lines = [f"  common to the {len(shared[0]['level_db'])} {what} (one frequency and one T60 for all):"]
    for p in shared[:SHOWN_PARTIALS]:
        levels = " / ".join(f"{level:.1f}" for level in p["level_db"])
        lines.append(
            f"    {p['frequency_hz']:9.2f} Hz  T60 {p['t60_s']:.3f} s (standard error {p['t60_se_s']:.2g})  "
            f"{levels} dB"
        )
        lines += [f"               T60 not known: {d}" for d in p["doubts"]]
    return lines


def _channel_lines(c: dict[str, Any], number: int, unit: str) -> list[str]:
    lines = [
        f"  channel {number}: LAFmax {_number(c['laf_max_db'], 1, unit)}, "
        f"LAE {_number(c['lae_db'], 1, unit)}, LCpeak {_number(c['lc_peak_db'], 1, unit)}",
        f"    Nmax {_number(c['nmax_sone'], 2, 'sone')}, "
        f"level {_number(c['loudness_level_phon'], 1, 'phon')}, "
        f"sharpness {_number(c['sharpness_acum'], 2, 'acum')}, centroid {_number(c['centroid_hz'], 0, 'Hz')}",
        f"    EDT {_number(c['edt_s'], 2, 's')}, T20 {_number(c['t20_s'], 2, 's')}, "
        f"T30 {_number(c['t30_s'], 2, 's')}, loudness to a tenth {_number(c['decay_s'], 2, 's')}",
    ]
    if c["t20_nonlinearity_permille"] is not None:
        lines += _straightness(c)
    if c["unexplained_share"] is not None:
        lines.append(
            f"    {len(c['partials'])} partials; of what rings on after the contact they leave "
            f"{_percent(c['unexplained_share'])} of the energy unexplained"
        )
    if c["attack_s"] is not None:
        mean = f"; T60 of the strongest partials, mean by power, {_number(c['t60_s'], 2, 's')}"
        lines.append(
            f"    attack from -20 to -3 dB {1000 * c['attack_s']:.1f} ms{mean if c['t60_s'] else ''}"
        )
    for p in c["partials"][:SHOWN_PARTIALS]:
        bends = f", bends: also {', '.join(f'{t:.2f}' for t in p['two_stage'])} s" if p["two_stage"] else ""
        lines.append(
            f"    {p['frequency_hz']:9.2f} Hz  {p['level_db']:6.1f} dB  "
            f"T60 {p['t60_s']:.3f} s (standard error {p['t60_se_s']:.3f}){bends}"
        )
        lines += [
            f"               beats with {hz:.2f} Hz, {rate:.2f} a second, {depth:.0f} dB deep"
            for hz, rate, depth in zip(p["beating"], p["beat_rates_hz"], p["beat_depths_db"], strict=True)
        ]
        lines += [f"               T60 not known: {d}" for d in p["doubts"]]
    return lines


def _straightness(c: dict[str, Any]) -> list[str]:
    """How far the decay is from one straight line, in ISO 3382-2's two measures, annex B."""
    said = (
        f"    curvature {_number(c['curvature_percent'], 1, '%')}, non-linearity of T20 "
        f"{_number(c['t20_nonlinearity_permille'], 1, 'in 1000')}, of T30 "
        f"{_number(c['t30_nonlinearity_permille'], 1, 'in 1000')}"
    )
    is_far = "curvature_percent" in c["reasons"]
    return (
        [said, "    far from one straight line (ISO 3382-2): T20 and T30 tell of its parts"]
        if is_far
        else [said]
    )


def _number(value: float | None, digits: int, unit: str) -> str:
    return "-" if value is None else f"{value:.{digits}f} {unit}"


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %" if share >= SMALLEST_SHARE else f"less than {100 * SMALLEST_SHARE:g} %"
