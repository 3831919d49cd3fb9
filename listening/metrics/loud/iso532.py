"""The steps of ISO 532-1:2017 as compiled loops; `loudness` is the door to them.

Clause numbers in the functions. Bands and critical bands run along the last axis, so that the inner loops
vectorise. Every recursion starts from rest: nothing at the end of a sound can reach its beginning; where a
`state` is given it goes on from there, and is left as it is at the end. Tables are compiled in: after
changing one, touch this file, or the cache keeps the old.
"""

import numpy as np
from numba import njit

from listening.audio.sound import FloatArray
from listening.metrics.loud.iso532_tables import (
    BAND_CENTRE_HZ,
    BAND_LIMIT_BARK,
    CRITICAL_BAND_DB,
    DIFFUSE_DB,
    FILTER_GAIN,
    LOW_BAND_LIMIT_DB,
    LOW_BAND_REDUCTION_DB,
    SECTION_A1,
    SECTION_A2,
    SLOPE,
    SLOPE_RANGE,
    THRESHOLD_DB,
    TRANSMISSION_DB,
)

RATE_HZ = 48_000
STEP = 24  # 48 kHz to the 2 kHz of the level course
SUBSTEPS = 24  # inner steps of the nonlinear decay and the temporal weighting
COURSE_RATE_HZ = RATE_HZ // STEP
REFERENCE_INTENSITY = 4e-10  # (20 µPa)²
TINY_INTENSITY = 1e-12  # the standard's program adds it before the logarithm
N_BARK = 240  # specific loudness is sampled every 0.1 Bark
DECAY_SHORT_S, DECAY_LONG_S, DECAY_VARIABLE_S = 0.005, 0.015, 0.075  # 6.3, nonlinear decay
WEIGHT_TAU_S = (0.0035, 0.070)  # 6.5, temporal weighting
WEIGHT_SHARE = (0.47, 0.53)

_SMOOTHING = np.exp(-1.0 / (RATE_HZ * 2.0 / (3.0 * np.minimum(BAND_CENTRE_HZ, 1000.0))))


def band_state() -> FloatArray:
    """(9, 28) memory of the band filters and their smoothing, at rest."""
    return np.zeros((9, SECTION_A1.shape[1]))


def band_intensities(pressure: FloatArray, state: FloatArray | None = None) -> FloatArray:
    """(n // 24 rounded up, 28) smoothed squared band pressure at 2 kHz, `pressure` at 48 kHz. Clause 6.3.

    With a state from `band_state`, all blocks but the last must be a multiple of 24 samples long.
    """
    memory = band_state() if state is None else state
    return np.asarray(_smoothed_bands(pressure, memory, SECTION_A1, SECTION_A2, FILTER_GAIN, _SMOOTHING))


def band_energies(pressure: FloatArray, skip: int, state: FloatArray) -> FloatArray:
    """(28,) summed squared band pressure after `skip` samples, `pressure` at 48 kHz. Clause 5.3."""
    return np.asarray(_energies(pressure, skip, state, SECTION_A1, SECTION_A2, FILTER_GAIN))


def band_mean_squares(pressure: FloatArray, skip: int) -> FloatArray:
    """(28,) mean squared band pressure after `skip` samples, `pressure` at 48 kHz. Clause 5.3."""
    return band_energies(pressure, skip, band_state()) / (len(pressure) - skip)


def levels_db(intensity: FloatArray) -> FloatArray:
    """Band levels, dB re 20 µPa, of squared pressures."""
    return np.asarray(10.0 * np.log10((intensity + TINY_INTENSITY) / REFERENCE_INTENSITY))


def core_loudness(band_db: FloatArray, *, diffuse: bool) -> FloatArray:
    """(k, 21) core loudness of band levels (k, 28). Clauses 5.4 to 5.6."""
    field_db = DIFFUSE_DB if diffuse else np.zeros(20)
    return np.asarray(_core(np.ascontiguousarray(band_db), field_db))


def decayed(core: FloatArray, state: FloatArray | None = None, *, is_last: bool = True) -> FloatArray:
    """(k, 21) core loudness after the nonlinear temporal decay of hearing, at 2 kHz. Clause 6.4.

    Of a block that is not the last the last row only says what follows: k - 1 rows come out. `state` is
    (2, 21), zeros at rest.
    """
    memory = np.zeros((2, core.shape[1])) if state is None else state
    return np.asarray(_decayed(core, max(0, len(core) - (not is_last)), memory, _decay_constants()))


def specific(core: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(k,) loudness, sone, and (k, 240) specific loudness, sone/Bark, upper slopes attached. Clause 5.7."""
    total, pattern = _slopes(core)
    return total, pattern


def temporally_weighted(
    loudness: FloatArray, state: FloatArray | None = None, *, is_last: bool = True
) -> FloatArray:
    """(k,) loudness over time as heard: two low-passes added up, at 2 kHz. Clause 6.5.

    Blocks as in `decayed`; `state` is (2,), zeros at rest.
    """
    memory = np.zeros(2) if state is None else state
    n = max(0, len(loudness) - (not is_last))
    fast = _low_passed(loudness, n, memory[:1], WEIGHT_TAU_S[0])
    slow = _low_passed(loudness, n, memory[1:], WEIGHT_TAU_S[1])
    return np.asarray(WEIGHT_SHARE[0] * fast + WEIGHT_SHARE[1] * slow)


def _decay_constants() -> FloatArray:
    p = (DECAY_VARIABLE_S + DECAY_LONG_S) / (DECAY_VARIABLE_S * DECAY_SHORT_S)
    q = 1.0 / (DECAY_SHORT_S * DECAY_VARIABLE_S)
    root = np.sqrt(p * p / 4.0 - q)
    l1, l2, step_s = -p / 2.0 + root, -p / 2.0 - root, 1.0 / (COURSE_RATE_HZ * SUBSTEPS)
    e1, e2, den = np.exp(l1 * step_s), np.exp(l2 * step_s), DECAY_VARIABLE_S * (l1 - l2)
    t1, t2 = DECAY_VARIABLE_S * l1 + 1.0, DECAY_VARIABLE_S * l2 + 1.0
    return np.array(
        [
            (e1 - e2) / den,
            (t2 * e1 - t1 * e2) / den,
            (t1 * e1 - t2 * e2) / den,
            t1 * t2 * (e1 - e2) / den,
            np.exp(-step_s / DECAY_LONG_S),
            np.exp(-step_s / DECAY_VARIABLE_S),
        ]
    )


@njit(cache=True)
def _filter_step(x, y, z, a1, a2, gain):  # type: ignore[no-untyped-def]
    """One sample through the three sections of all bands: y becomes the output, z holds (6, bands) memory."""
    for b in range(y.shape[0]):
        u = x
        v = u + z[0, b]
        z[0, b] = 2.0 * u - a1[0, b] * v + z[1, b]
        z[1, b] = u - a2[0, b] * v
        w = v + z[2, b]
        z[2, b] = -a1[1, b] * w + z[3, b]
        z[3, b] = -v - a2[1, b] * w
        o = w + z[4, b]
        z[4, b] = -2.0 * w - a1[2, b] * o + z[5, b]
        z[5, b] = w - a2[2, b] * o
        y[b] = gain[b] * o


@njit(cache=True)
def _forget_tiny(z):  # type: ignore[no-untyped-def]
    # numbers near the smallest double slow the processor down a hundredfold
    for i in range(z.shape[0]):
        for b in range(z.shape[1]):
            if abs(z[i, b]) < 1e-150:
                z[i, b] = 0.0


@njit(cache=True)
def _smoothed_bands(pressure, state, a1, a2, gain, keep):  # type: ignore[no-untyped-def]
    n_bands = a1.shape[1]
    out = np.empty(((len(pressure) + STEP - 1) // STEP, n_bands))
    z, s, y = state[:6], state[6:], np.zeros(n_bands)
    for i in range(len(pressure)):
        _filter_step(pressure[i], y, z, a1, a2, gain)
        for b in range(n_bands):
            put = 1.0 - keep[b]
            s[0, b] = put * y[b] * y[b] + keep[b] * s[0, b]
            s[1, b] = put * s[0, b] + keep[b] * s[1, b]
            s[2, b] = put * s[1, b] + keep[b] * s[2, b]
        if i % STEP == 0:
            out[i // STEP] = s[2]
            _forget_tiny(z)
            _forget_tiny(s)
    return out


@njit(cache=True)
def _energies(pressure, skip, state, a1, a2, gain):  # type: ignore[no-untyped-def]
    n_bands = a1.shape[1]
    z, y, total = state[:6], np.zeros(n_bands), np.zeros(n_bands)
    for i in range(len(pressure)):
        _filter_step(pressure[i], y, z, a1, a2, gain)
        if i >= skip:
            for b in range(n_bands):
                total[b] += y[b] * y[b]
        if i % STEP == 0:
            _forget_tiny(z)
    return total


@njit(cache=True)
def _low_band_power(db, b):  # type: ignore[no-untyped-def]
    r = 0
    while r < 7 and db > LOW_BAND_LIMIT_DB[r] - LOW_BAND_REDUCTION_DB[r, b]:
        r += 1
    return 10.0 ** ((db + LOW_BAND_REDUCTION_DB[r, b]) / 10.0)


@njit(cache=True)
def _critical_levels(band_db, out):  # type: ignore[no-untyped-def]
    power = np.zeros(3)
    for b in range(11):
        power[0 if b < 6 else (1 if b < 9 else 2)] += _low_band_power(band_db[b], b)
    for c in range(3):
        out[c] = 10.0 * np.log10(power[c]) if power[c] > 0.0 else 0.0
    for c in range(3, 20):
        out[c] = band_db[c + 8]


@njit(cache=True)
def _core(band_db, field_db):  # type: ignore[no-untyped-def]
    out, level = np.zeros((band_db.shape[0], 21)), np.zeros(20)
    for t in range(band_db.shape[0]):
        _critical_levels(band_db[t], level)
        for c in range(20):
            excitation = level[c] - TRANSMISSION_DB[c] + field_db[c]
            if excitation > THRESHOLD_DB[c]:
                excitation -= CRITICAL_BAND_DB[c]
                over = 0.75 + 0.25 * 10.0 ** (0.1 * (excitation - THRESHOLD_DB[c]))
                value = 0.0635 * 10.0 ** (0.025 * THRESHOLD_DB[c]) * (over**0.25 - 1.0)
                out[t, c] = max(value, 0.0)
        out[t, 0] *= min(1.0, 0.4 + 0.32 * out[t, 0] ** 0.2)
    return out


@njit(cache=True)
def _decay_step(ui, uo, u2, k):  # type: ignore[no-untyped-def]
    """New output and inner state for input ui; k are the six constants."""
    if ui < uo:
        if uo > u2:
            new_2 = uo * k[0] - u2 * k[1]
            new_o = max(uo * k[2] - u2 * k[3], ui)
            return new_o, min(new_2, new_o)
        new_o = max(uo * k[4], ui)
        return new_o, new_o
    if abs(ui - uo) < 1e-5 and ui <= u2:
        return ui, ui
    return ui, (u2 - ui) * k[5] + ui


@njit(cache=True)
def _decayed(core, n, state, k):  # type: ignore[no-untyped-def]
    n_bands = core.shape[1]
    out = np.zeros((n, n_bands))
    for b in range(n_bands):
        uo, u2 = state[0, b], state[1, b]
        for t in range(n):
            following = core[t + 1, b] if t + 1 < len(core) else 0.0
            ui, slope = core[t, b], (following - core[t, b]) / SUBSTEPS
            uo, u2 = _decay_step(ui, uo, u2, k)
            out[t, b] = uo
            if ui == 0.0 and following == 0.0 and uo < 1e-100:
                uo, u2 = 0.0, 0.0
                continue
            for _ in range(SUBSTEPS - 1):
                ui += slope
                uo, u2 = _decay_step(ui, uo, u2, k)
        state[0, b], state[1, b] = uo, u2
    return out


@njit(cache=True)
def _low_passed(values, n, memory, tau_s):  # type: ignore[no-untyped-def]
    keep = np.exp(-1.0 / (COURSE_RATE_HZ * SUBSTEPS * tau_s))
    out, state = np.zeros(n), memory[0]
    for t in range(n):
        following = values[t + 1] if t + 1 < len(values) else 0.0
        x, slope = values[t], (following - values[t]) / SUBSTEPS
        state = (1.0 - keep) * x + keep * state
        out[t] = state
        for _ in range(SUBSTEPS - 1):
            x += slope
            state = (1.0 - keep) * x + keep * state
        if state < 1e-150:
            state = 0.0
    memory[0] = state
    return out


@njit(cache=True)
def _range_below(value, start):  # type: ignore[no-untyped-def]
    """First steepness range, from `start` on, whose lower limit is below `value`."""
    r = start
    while r < 17 and value <= SLOPE_RANGE[r]:
        r += 1
    return r


@njit(cache=True)
def _flat(pattern, at, z_end, n2):  # type: ignore[no-untyped-def]
    while at < N_BARK and 0.1 * (at + 1) <= z_end:
        pattern[at] = n2
        at += 1
    return at


@njit(cache=True)
def _falling(pattern, at, z_end, start):  # type: ignore[no-untyped-def]
    n1, z1, steepness = start
    while at < N_BARK and 0.1 * (at + 1) <= z_end:
        pattern[at] = n1 - (0.1 * (at + 1) - z1) * steepness
        at += 1
    return at


@njit(cache=True)
def _slope_pattern(core, pattern):  # type: ignore[no-untyped-def]
    total, at, n1, z1, r = 0.0, 0, 0.0, 0.0, 17
    for c in range(21):
        limit = BAND_LIMIT_BARK[c] + 1e-4  # the standard's program does the same
        column = min(max(c - 1, 0), 7)
        while z1 < limit:
            if n1 <= core[c]:
                if n1 < core[c]:
                    r = 0
                    while r < 17 and SLOPE_RANGE[r] > core[c]:
                        r += 1
                z2, n2 = limit, core[c]
                total += n2 * (z2 - z1)
                at = _flat(pattern, at, z2, n2)
            else:
                n2 = max(SLOPE_RANGE[r], core[c])
                z2 = z1 + (n1 - n2) / SLOPE[r, column]
                if z2 > limit:
                    z2 = limit
                    n2 = n1 - (z2 - z1) * SLOPE[r, column]
                total += (z2 - z1) * (n1 + n2) / 2.0
                at = _falling(pattern, at, z2, (n1, z1, SLOPE[r, column]))
            r = _range_below(n2, r)
            z1, n1 = z2, n2
    return max(total, 0.0)


@njit(cache=True)
def _slopes(core):  # type: ignore[no-untyped-def]
    total, pattern = np.zeros(core.shape[0]), np.zeros((core.shape[0], N_BARK))
    for t in range(core.shape[0]):
        total[t] = _slope_pattern(core[t], pattern[t])
    return total, pattern
