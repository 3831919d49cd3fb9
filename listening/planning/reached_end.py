"""Whether a study can reach its end when a listener stops early."""

from listening.records.protocols.protocol import Protocol
from stats.discrimination import critical_counts

LIKELY_DROP_OUTS = 0.1  # of those who begin; our own estimate


def has_room(protocol: Protocol) -> bool:
    """Whether the plan holds more places than its end needs listeners."""
    fewest = protocol.stopping.fewest
    return protocol.panel.spare > 0 or (fewest is not None and fewest < protocol.panel.listeners)


def chance(protocol: Protocol, drop_outs: float = LIKELY_DROP_OUTS) -> float:
    """Chance that enough of those who get a place finish: each stops by themselves, exact binomial."""
    needed = protocol.stopping.fewest or protocol.panel.listeners
    places = protocol.panel.listeners + protocol.panel.spare
    return critical_counts.chance_of_at_least(needed, places, 1 - drop_outs)


def spare_for(protocol: Protocol, wanted: float) -> int:
    """The fewest spare places with which the end is reached with at least this chance."""
    needed = protocol.stopping.fewest or protocol.panel.listeners
    places = needed
    while critical_counts.chance_of_at_least(needed, places, 1 - LIKELY_DROP_OUTS) < wanted:
        places += 1
    return max(0, places - protocol.panel.listeners)
