"""Drives that know no locks, as some network drives: what they answer, and what is to be said of it."""

import errno
from pathlib import Path

REFUSED = {errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL}
WAY_OUT = "copy the folder to a drive of this machine, or let stations share a server (listening booths)"


def said(path: Path, error: OSError) -> str:
    """A drive refused a lock on `path`."""
    return (
        f"{path}: this drive refuses locks ({error.strerror}), as some network drives do, so that two "
        f"programs could write the same thing; {WAY_OUT}"
    )
