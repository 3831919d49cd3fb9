"""What a count of right answers in a discrimination task says."""

from stats.discrimination import forced_choice
from stats.discrimination.forced_choice import Discrimination


def fit_counts(task: str, correct: int, trials: int, *, level: float = 0.95) -> Discrimination:
    """d', share correct and share of answers not guessed, with limits; as `listening fit counts`.

    Parameters
    ----------
    task : triangle, duo-trio, tetrad, 2-afc, 3-afc ... 100-afc
    correct, trials : 0 <= correct <= trials, trials >= 1
        Independent answers, one a listener.
    level : 0 to 1
        Coverage of the likelihood intervals.

    Raises
    ------
    ListeningError
        An unknown task, impossible counts, or a level outside 0 to 1.

    Source: as `stats.discrimination.forced_choice.fit`.
    """
    return forced_choice.fit(task, correct, trials, level=level)
