"""The thread that sends a booth's messages on, at once or when the server is back; no screen waits."""

import threading
import time
from collections.abc import Callable

from listening.errors import ListeningError
from listening.store.engine import NotReached, Refused
from listening.store.spool import Message, Spool

RETRY_S = 2.0


class Sender:
    """Takes messages from the spool in order; each leaves the spool after the server has confirmed it."""

    def __init__(self, spool: Spool, send: Callable[[Message], None], beat: Callable[[str], None]) -> None:
        self._spool = spool
        self._send = send
        self._beat = beat
        self._beats: set[str] = set()
        self._changed = threading.Condition()
        self._asked = True  # an earlier sitting may have left something
        self._stopped = False
        self._n_stuck = 0
        self._thread = threading.Thread(target=self._run, name="sender", daemon=True)
        self._thread.start()

    def wake(self) -> None:
        """There is something to send."""
        with self._changed:
            self._asked = True
            self._changed.notify_all()

    def beat(self, sitting: str) -> None:
        """Send a sign of life."""
        with self._changed:
            self._beats.add(sitting)
        self.wake()

    def stuck(self) -> int:
        """How many messages wait since the last try failed; 0 when the server answers."""
        return self._n_stuck

    def flush(self, within_s: float) -> int:
        """Wait until the spool is empty, at most so long; what is left in it."""
        until_s = time.monotonic() + within_s
        self.wake()
        with self._changed:
            while (left := self._spool.count()) and time.monotonic() < until_s:
                self._changed.wait(0.05)
        return left

    def stop(self) -> None:
        """End the thread after the message under way."""
        with self._changed:
            self._stopped = True
            self._changed.notify_all()
        self._thread.join()

    def _run(self) -> None:
        while True:
            with self._changed:
                if not (self._asked or self._stopped):
                    self._changed.wait(RETRY_S if self._n_stuck else None)
                if self._stopped:
                    return
                self._asked = False
            self._send_all()

    def _send_all(self) -> None:
        try:
            while self._beats:
                self._beat(next(iter(self._beats)))
                self._beats.pop()
            for message in self._spool.messages():
                try:
                    self._send(message)
                except Refused:  # it will never be taken: what came after it must not wait for it
                    self._spool.set_apart(message.ref)
                    continue
                self._spool.drop(message.ref)
                if self._stopped:
                    break
            self._n_stuck = 0
        except (NotReached, ListeningError):
            self._n_stuck = max(1, self._spool.count())
        with self._changed:
            self._changed.notify_all()
