"""One common gain for a set, so that its highest true peak stays below the ceiling."""

import numpy as np

from listening.errors import StudyError
from listening.records.protocols.protocol_parts import Trimming
from listening.stimuli.stimulus_file import Wanted

LOWEST_OFFSET_DB = -40.0  # 24 bit keep 104 dB below full scale then


def offset_db(wanted: list[Wanted], trimming: Trimming, *, peaks_dbtp: list[float]) -> float:
    """The common gain that brings the highest true peak to the ceiling, 0 when all are below it.

    Parameters
    ----------
    peaks_dbtp : of each stimulus' file before its gain

    Raises
    ------
    StudyError
        The offset that the protocol fixes lets a stimulus clip, or the one needed is beyond -40 dB.
    """
    peaks_db = [peak + w.gain_db for peak, w in zip(peaks_dbtp, wanted, strict=True)]
    highest = int(np.argmax(peaks_db))
    needed_db = min(0.0, float(np.floor((trimming.true_peak_ceiling_dbtp - peaks_db[highest]) * 100) / 100))
    fixed_db = trimming.headroom_offset_db
    if fixed_db is not None and fixed_db > needed_db:
        raise StudyError(
            f"{_asked(wanted[highest])} and the common offset of {fixed_db:+.2f} dB put its true peak at "
            f"{peaks_db[highest] + fixed_db:+.2f} dBTP, ceiling {trimming.true_peak_ceiling_dbtp:+.2f}; "
            f"set trimming.headroom_offset_db to {needed_db:.2f} or lower, or leave it out"
        )
    if needed_db < LOWEST_OFFSET_DB:
        raise StudyError(
            f"{_asked(wanted[highest])} put its true peak at {peaks_db[highest]:+.2f} dBTP; "
            f"the whole set would have to come down by {-needed_db:.2f} dB, at most {-LOWEST_OFFSET_DB:g} "
            "is allowed; leave this recording out (recordings.use)"
        )
    return needed_db if fixed_db is None else fixed_db


def _asked(wanted: Wanted) -> str:
    return f"{wanted.source.file.name}: {wanted.gain_db:+.2f} dB for `{wanted.presentation}`"
