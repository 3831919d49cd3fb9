"""The alpha that is left for one question of a family, after planned looks."""

from listening.analysis.decide import families
from listening.records.protocols.protocol import Protocol, Question
from stats.deciding import alpha_spending


def deciding_alpha(protocol: Protocol, question: Question) -> float:
    """One-sided alpha of a question at the end: the hardest step of its family, what looks have left."""
    size = families.size(question, protocol.questions)
    stopping = protocol.stopping
    alpha = question.alpha * (families.SUPPORTING / size if size > 1 else 1.0)
    if stopping.spending != "none":
        shares = [n / protocol.panel.listeners for n in stopping.looks] + [1.0]
        alpha = float(alpha_spending.bounds(shares, alpha, stopping.spending).nominal_alpha[-1])
    return alpha
