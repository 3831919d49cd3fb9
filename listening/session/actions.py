"""Everything that a listener can do: one list, each with its key and its entry in the table of words."""

from enum import Enum
from functools import cache


class Action(Enum):
    """One act: its word, its key, and where its label stands among the words.

    Those whose key is empty come with an argument and a key of their own each: `hear:2`, `choose:first`.
    """

    GO_ON = ("go_on", "enter")
    AGREE = ("agree", "y")
    DECLINE = ("decline", "n")
    DECLINE_NOW = ("decline_now", "d")
    RECONSIDER = ("reconsider", "escape")
    LEVEL_RIGHT = ("level_right", "enter")
    UNDERSTOOD = ("understood", "enter")
    NOT_SURE = ("not_sure", "n")
    ONCE_MORE = ("once_more", "r")
    END = ("end", "enter")
    # before a seat is taken
    BEGIN = ("begin", "n")
    HAVE_CODE = ("have_code", "y")
    TAKE_CODE = ("take_code", "enter")
    BACK = ("back", "escape")
    SIGN = ("type", "")
    # questions about the listener, and the hearing check
    TELL = ("tell", "enter", "confirm")
    RATHER_NOT = ("rather_not", "n")
    BEGIN_CHECK = ("begin_check", "enter")
    HEAR_TONE = ("hear_tone", "space")
    SKIP_CHECK = ("skip_check", "n")
    # sound
    PLAY = ("play", "space")
    STOP_SOUND = ("stop_sound", "space")
    HEAR = ("hear", "")
    PART_FROM = ("part_from", "s")
    PART_TO = ("part_to", "t", "part_from")
    PART_WHOLE = ("part_whole", "w", "part_from")
    # an answer
    CHOOSE = ("choose", "")
    MARK_UP = ("mark_up", "up")
    MARK_DOWN = ("mark_down", "down")
    ROW_UP = ("row_up", "up")
    ROW_DOWN = ("row_down", "down")
    LESS = ("less", "left")
    MORE = ("more", "right")
    LESS_BY_TEN = ("less_by_ten", "pagedown")
    MORE_BY_TEN = ("more_by_ten", "pageup", "less_by_ten")
    PUT = ("put", "")
    DIGIT = ("digit", "")
    TAKE_NUMBER = ("take_number", "enter")
    ERASE = ("erase", "backspace")
    SORT_ROWS = ("sort_rows", "o")
    CONFIRM = ("confirm", "enter")
    TAKE_BACK = ("take_back", "backspace")
    # stepping aside
    PAUSE = ("pause", "p")
    LEAVE = ("leave", "escape")
    LEAVE_NOW = ("leave_now", "y", "leave")
    STAY = ("stay", "escape")
    TRY_AGAIN = ("try_again", "enter")
    HELP = ("help", "f1")

    def __init__(self, word: str, key: str, label: str = "") -> None:
        self.word = word
        """What `Sitting.act` takes, before a colon and an argument."""
        self.key = key
        """The key that does it, as a program calls it; a language may have another letter."""
        self.label = f"do_{label or word}"
        """The entry in the table of words."""


NAMED_WITH_ANOTHER = {
    Action.MARK_UP,
    Action.ROW_UP,
    Action.LESS,
    Action.MORE_BY_TEN,
    Action.PART_TO,
    Action.PART_WHOLE,
}
"""The line of keys names these together with another one."""
TYPING = {Action.DIGIT, Action.ERASE}
"""After these a number that stands typed is not taken yet."""


@cache
def named(word: str) -> Action | None:
    """The action of a word; None where there is no such action."""
    return next((action for action in Action if action.word == word), None)
