"""What a person can mend, and what the data cannot bear: each with the numbers and the way out."""


class ListeningError(Exception):
    """The person can act on it: says where, what was found, what was wanted, what to do next."""


class StatsError(ListeningError, ValueError):
    """The data cannot bear the question."""


class BadData(StatsError):
    """An array has the wrong shape, an impossible value, or nothing in it."""


class NotConnected(StatsError):
    """Some items were never compared, even through others, so no common scale exists."""


class Separated(StatsError):
    """The answers are predicted perfectly in some direction, so an estimate is infinite."""


class NotIdentified(StatsError):
    """Some columns repeat the others, so their effects cannot be told apart."""


class NotConverged(StatsError):
    """An iteration ran out of steps before it reached its tolerance."""
