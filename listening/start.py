"""Where the program starts: nothing is imported before Ctrl-C ends it quietly."""

import os
import signal
from types import FrameType

STOPPED = 128 + signal.SIGINT


def main() -> int:
    """Run the command line; its exit code."""
    usual = signal.getsignal(signal.SIGINT)
    if usual is signal.default_int_handler:
        signal.signal(signal.SIGINT, _interrupt)
    from listening import cli

    return cli.main()


def _interrupt(_number: int, frame: FrameType | None) -> None:
    """Ctrl-C: at once while modules load (half a module makes other errors of it), else as an exception."""
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            os.write(2, b"stopped; what was done before stays as it is\n")
            os._exit(STOPPED)
        frame = frame.f_back
    raise KeyboardInterrupt
