"""How fast and how right the measuring is: one table, on the machine it runs on.

Run: `python bench/metrics.py [cases]`. Loudness is compared with mosqito in the same run on the same sound;
the partials are random cases, `cases` of them at each signal-to-noise ratio (default 40).
"""

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from listening.audio.sound import FloatArray, Sound
from listening.metrics import measures
from listening.metrics.loud import loudness
from listening.metrics.ringing import partials

RATE_HZ = 48_000
PEAK = 0.1
# SNR in dB -> bars of T60 in percent and frequency in cent
BARS = {60: (0.1, 0.01), 40: (0.5, 0.01), 30: (1.5, 0.05), 20: (5.0, 0.1)}


def best_s(act: Callable[[], object], repeats: int = 3) -> float:
    """Shortest processor time of a few runs after one to compile; other work does not count."""
    act()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        act()
        times.append(time.process_time() - start)
    return min(times)


def ringing(
    frequencies_hz: FloatArray,
    t60_s: FloatArray,
    snr_db: float,
    rng: np.random.Generator,
    *,
    peaks: tuple[float, ...] | None = None,
    duration_s: float = 5.0,
) -> Sound:
    """Decaying cosines from 0.1 s on in white noise, each of peak PEAK `snr_db` above it at the start."""
    time_s = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ - 0.1
    total = PEAK / np.sqrt(2) * 10 ** (-snr_db / 20) * rng.standard_normal(len(time_s))
    for f, t60, peak in zip(frequencies_hz, t60_s, peaks or [PEAK] * len(t60_s), strict=True):
        ring = (
            peak
            * np.exp(-np.log(1000) * time_s / t60)
            * np.cos(2 * np.pi * f * time_s + rng.uniform(0, 6.28))
        )
        total += np.where(time_s >= 0, ring, 0.0)
    return Sound(total, RATE_HZ, 2.0)


def speed() -> None:
    """Seconds of processor time, and the ratio to mosqito."""
    from mosqito.sq_metrics import loudness_zwtv

    rng = np.random.default_rng(1)
    bell = ringing(np.array([1180.0, 3089.0, 5554.0, 8547.0]), np.array([1.2, 1.0, 0.8, 0.7]), 50, rng)
    pressure = bell.pressure[:, 0].copy()
    pressure[-RATE_HZ // 2 :] = 0.0  # mosqito leaks a sound that runs to the end into its start
    sound = Sound(pressure, RATE_HZ, 1.0)
    ours_s = best_s(lambda: loudness.course(sound))
    start = time.process_time()
    theirs = loudness_zwtv(pressure, RATE_HZ)[0]
    theirs_s = time.process_time() - start
    apart = np.abs(loudness.course(sound).loudness_sone - theirs).max()
    print(
        f"ISO 532-1 over time, 5 s: ours {ours_s:.3f} s, mosqito {theirs_s:.2f} s, {theirs_s / ours_s:.0f} x "
        f"(bar 15 x); N(t) apart by {apart:.4f} sone at most (mosqito rounds to 0.01 above 16)"
    )
    for duration_s in (5.0, 10.0, 20.0):
        longer = ringing(
            np.array([1180.0, 3089.0, 5554.0]), np.array([3.0, 2.0, 1.5]), 50, rng, duration_s=duration_s
        )
        used_s = best_s(lambda longer=longer: measures.measure(longer))  # type: ignore[misc]
        print(f"everything about a sound of {duration_s:4.0f} s: {used_s:.2f} s (bar for 5 s: 1.5 s)")


def compile_caches() -> None:
    """A second process does not compile again."""
    words = (
        "import time, numpy as np; from listening.audio.sound import Sound;"
        "from listening.metrics import measures; now = time.process_time;"
        "s = Sound(np.random.default_rng(1).normal(size=24000) * 0.01, 48000, 1.0); t = now();"
        "measures.measure(s); a = now(); measures.measure(s); print(a - t, now() - a)"
    )
    for _ in range(2):
        done = subprocess.run(
            [sys.executable, "-c", words],
            cwd=Path(__file__).parents[1],
            capture_output=True,
            text=True,
            check=True,
        )
        first, second = map(float, done.stdout.split())
        print(f"fresh process: first sound {first:.2f} s, second {second:.2f} s of processor time")


def accuracy(n_cases: int) -> None:
    """Errors of partials in random cases: five each, 300 to 6000 Hz, T60 0.5 to 6 s, 60 Hz apart or more."""
    rng = np.random.default_rng(20)
    for snr_db, (t60_bar, cent_bar) in BARS.items():
        rows, missed, extra = [], 0, 0
        for _ in range(n_cases):
            frequencies = np.sort(rng.uniform(300, 6000, 5))
            while np.diff(frequencies).min() < 60:
                frequencies = np.sort(rng.uniform(300, 6000, 5))
            t60_s = np.exp(rng.uniform(np.log(0.5), np.log(6.0), 5))
            found = partials.find(ringing(frequencies, t60_s, snr_db, rng))
            near = [[p for p in found if abs(p.frequency_hz - f) < 2] for f in frequencies]
            missed += sum(not n for n in near)
            extra += len(found) - sum(map(bool, near))
            for f, t, n in zip(frequencies, t60_s, near, strict=True):
                rows += [_errors(n[0], f, t)] if n else []
        _print_errors(f"{n_cases} cases at {snr_db} dB", np.array(rows), missed, extra, (t60_bar, cent_bar))


def close_pairs(n_cases: int) -> None:
    """Two modes 1 Hz apart, and two-stage decays, at 40 dB."""
    rng = np.random.default_rng(21)
    for low_s, high_s in ((0.5, 1.0), (1.0, 2.0), (2.0, 6.0)):
        rows, missed = [], 0
        for _ in range(n_cases):
            f, t = rng.uniform(300, 6000), np.exp(rng.uniform(np.log(low_s), np.log(high_s), 2))
            found = sorted(
                partials.find(ringing(np.array([f, f + 1]), t, 40, rng)), key=lambda p: p.frequency_hz
            )
            missed += len(found) != 2
            rows += (
                [_errors(p, w, t60) for p, w, t60 in zip(found, (f, f + 1), t, strict=True)]
                if len(found) == 2
                else []
            )
        table = np.abs(np.array(rows))
        hz, percent = np.percentile(table[:, 4], [95, 100]), np.percentile(table[:, 0], [95, 100])
        print(
            f"{n_cases} pairs 1 Hz apart, T60 {low_s} to {high_s} s, 40 dB: missed {missed}; "
            f"frequency 95 % within {hz[0]:.4f} Hz, worst {hz[1]:.4f} (bar 0.005); "
            f"T60 95 % within {percent[0]:.2f} %, worst {percent[1]:.2f} % (bar 0.5); "
            f"error over standard error {np.sqrt((table[:, 2:4] ** 2).mean()):.2f}",
            flush=True,
        )
    worst, missed = np.zeros(2), 0
    for _ in range(n_cases):
        f = rng.uniform(300, 6000)
        found = partials.find(
            ringing(np.array([f, f]), np.array([0.8, 6.0]), 40, rng, peaks=(PEAK, 0.3 * PEAK))
        )
        pair = sorted(found, key=lambda p: p.t60_s)
        missed += len(pair) != 2
        if len(pair) == 2:
            worst = np.maximum(worst, [100 * abs(pair[0].t60_s / 0.8 - 1), 100 * abs(pair[1].t60_s / 6 - 1)])
    print(
        f"{n_cases} two-stage decays 0.8 / 6 s: missed {missed}, "
        f"worst {worst[0]:.2f} / {worst[1]:.2f} % (bar 2 %)"
    )


def _errors(p: partials.Partial, frequency_hz: float, t60_s: float) -> list[float]:
    """T60 in percent, frequency in cent, both over their standard errors, frequency in Hz."""
    off_hz = p.frequency_hz - frequency_hz
    cent = 1200 * np.log2(p.frequency_hz / frequency_hz)
    return [
        100 * (p.t60_s / t60_s - 1), cent, (p.t60_s - t60_s) / p.t60_se_s, off_hz / p.frequency_se_hz, off_hz
    ]  # fmt: skip


def _print_errors(what: str, rows: FloatArray, missed: int, extra: int, bars: tuple[float, float]) -> None:
    size = np.abs(rows)
    inside = (size[:, 2:4] < 1.96).mean()
    percent, cent = np.percentile(size[:, 0], [95, 100]), np.percentile(size[:, 1], [95, 100])
    print(
        f"{what}: missed {missed}, extra {extra}; "
        f"T60 95 % within {percent[0]:.4f} %, worst {percent[1]:.4f} % (bar {bars[0]}); "
        f"frequency 95 % within {cent[0]:.5f} cent, worst {cent[1]:.5f} (bar {bars[1]}); "
        f"{inside:.1%} within 1.96 standard errors",
        flush=True,
    )


if __name__ == "__main__":
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    speed()
    compile_caches()
    accuracy(cases)
    close_pairs(cases)
