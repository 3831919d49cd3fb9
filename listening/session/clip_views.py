"""How the sounds of a step stand on the screen: letter, state, and how far the one that sounds is."""

from typing import TYPE_CHECKING

from listening.session.tasks import LETTERS
from listening.session.view import ClipView

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

SHARE_STEPS = 40  # a view differs only where a screen would draw something else


def clips(sitting: "Sitting", n_clips: int, letters: tuple[str, ...] = ()) -> tuple[ClipView, ...]:
    """The first `n_clips` sounds of the step, under these letters, or A, B ...; one alone has none."""
    turn, text = sitting.turn, sitting.words.text
    made = []
    for i in range(n_clips):
        sounding = turn.running and turn.clip == i
        state = "playing" if sounding else "heard" if i in turn.heard else "not_heard"
        letter = letters[i] if letters else LETTERS[i] if n_clips > 1 else ""
        share = round(turn.share * SHARE_STEPS) / SHARE_STEPS if sounding else 0.0
        name = text("sound", letter=letter).strip()
        made.append(ClipView(letter, sounding, i in turn.heard, text(state), share, name))
    return tuple(made)
