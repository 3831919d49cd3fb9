"""What a mouse says: a place on a scale, or something that a key does as well."""

from textual.message import Message
from textual.widget import Widget


class Pointed(Message):
    """The mouse points at a place on a scale."""

    def __init__(self, row: Widget, share: float) -> None:
        super().__init__()
        self.row = row
        self.share = share
        """0 to 1."""


class Clicked(Message):
    """The mouse was clicked on something that stands for one of these acts, the first that is offered."""

    def __init__(self, *names: str) -> None:
        super().__init__()
        self.names = names
