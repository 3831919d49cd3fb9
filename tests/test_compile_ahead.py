"""After setting up, no first run waits for a compiler."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAIRS = "first,second,answer,listener\n" + "".join(
    f"{a},{b},{'first' if n % 3 else 'second'},l{n % 9}\n" for n in range(20) for a, b in ("ab", "bc", "ca")
)


@pytest.mark.slow
def test_a_fit_after_compiling_ahead_compiles_nothing_more(tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    environment = os.environ | {"NUMBA_CACHE_DIR": str(cache)}
    (tmp_path / "pairs.csv").write_text(PAIRS)

    def run(*words: str) -> set[Path]:
        subprocess.run([sys.executable, "-m", *words], cwd=ROOT, env=environment, check=True)
        return set(cache.rglob("*.nbc"))

    ahead = run("listening.compile_ahead")
    assert ahead
    assert (
        run("listening", "fit", "pairs", str(tmp_path / "pairs.csv"), "--slopes", "order", "--order") == ahead
    )
