"""The booth's token lies in its spool: nobody else on the machine reads it, under whatever umask."""

import os
import stat
from pathlib import Path

import pytest

from listening.store.spool import Spool


@pytest.mark.parametrize("umask", [0o000, 0o002, 0o022, 0o077])
def test_a_spool_is_closed_to_others_from_its_first_instant(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        spool = Spool(tmp_path / "spool.sqlite")
        spool.token()
        modes = [stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()]
        spool.close()
    finally:
        os.umask(before)
    assert modes == [0o660 & ~umask] * len(modes)
