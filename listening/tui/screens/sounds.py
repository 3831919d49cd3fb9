"""One sound a line: its letter, and whether it plays or was heard; by sign and word, not by colour."""

from typing import TYPE_CHECKING

from textual.content import Content

from listening.tui.screens.firm import FIRM_SPACE

if TYPE_CHECKING:
    from listening.session.view import ClipView


def line(clip: "ClipView") -> Content:
    """A sound's line; the one that sounds has an arrow and stands in reverse."""
    mark = ">>" if clip.sounding else FIRM_SPACE * 2
    text = f"{mark} {clip.letter:<2} {clip.state}{FIRM_SPACE}"
    row = Content.styled(text, "bold reverse") if clip.sounding else Content(text)
    return Content(FIRM_SPACE * 3) + row
