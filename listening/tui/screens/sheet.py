"""What all screens share: heading, a middle of their own, status, progress, and the line of keys."""

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.geometry import Size
from textual.screen import Screen
from textual.widgets import Static

from listening.session.actions import Action
from listening.tui.screens.firm import FIRM_SPACE

if TYPE_CHECKING:
    from listening.session.showing.view import Offer, View

BAR_SHARE = 0.3  # of the window's width
PAGE_MARGIN = 4
PAGE_WIDEST = 160
HEADING_LINES = 2
KEYS_BORDER = 1
HINT_LINES = 1  # how far the listener is, or what a wrong key is told
LABELS = 3  # lines of labels above a scale, at most
LARGE = Size(120, 40)  # from here on the page stands in the middle, with taller panels
ROOMY = 24  # lines of a window with room to spare
AIRY_SOUNDS = 8  # lines of taller panels with the empty lines around them
AIRY_FOOT = 7  # a notice, a hint of two lines, a border, and the keys of a trial
SCALE_FOOT = 9  # the same where scales have keys of their own
STATUS_LINES = 2  # what to do now may take so many
SPACES = 2  # empty lines around the panels, in a roomy window
MARGIN_CELLS = 4  # of the foot, both sides
KEY_GAP = "   "


class Sheet(Screen[None]):
    """A screen that can draw a view, as soon as its parts are there."""

    def __init__(self) -> None:
        super().__init__()
        self._composed = False
        self._shown: View | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="heading")
        yield VerticalScroll(*self.parts(), id="page", can_focus=False)
        with Vertical(id="foot"):
            yield Static(id="notice")
            yield Static(id="hint")
            yield Static(id="keys")

    def parts(self) -> ComposeResult:
        """The widgets between heading and foot."""
        yield Static(id="middle")

    def on_mount(self) -> None:
        """The parts are there: show what came before them."""
        self._composed = True
        self.on_resize()

    def on_resize(self) -> None:
        """Another width breaks the line of keys elsewhere."""
        if self._shown is not None:
            self.draw(self._shown)

    def draw(self, view: "View") -> None:
        """Show a view."""
        self._shown = view
        if not self._composed:
            return
        self.put("heading", Content.styled(view.heading, "bold"))
        self.set_class(self.is_roomy(view), "roomy")
        self.set_class(self.is_airy(view), "airy")
        self.set_class(self.size.width >= LARGE.width and self.size.height >= LARGE.height, "large")
        self.fill(view)
        self.put("notice", Content(f"! {view.notice}" if view.notice else ""))
        self.query_one("#notice").display = bool(view.notice)
        is_tight = self.least_height(view) >= self.size.height
        self.query_one("#hint").styles.max_height = 1 if is_tight else 2  # what is needed comes first
        self.put("hint", Content(view.hint or _progress(view, self.size.width)))
        self.put("keys", keys(view.actions, self.size.width - MARGIN_CELLS))

    def fill(self, view: "View") -> None:
        """The part that differs from screen to screen."""
        self.put("middle", paragraphs([*view.body, view.status]))

    @property
    def page_width(self) -> int:
        """Columns between the margins."""
        return max(20, min(PAGE_WIDEST, self.size.width - 2 * PAGE_MARGIN))

    def is_roomy(self, view: "View") -> bool:
        """Whether there is room for whole panels and empty lines around them."""
        return self.size.height >= ROOMY + len(view.dials)

    def is_airy(self, view: "View") -> bool:
        """Whether every answer and scale can have an empty line below it; the same through a whole trial."""
        rows = len(view.choices) + len(view.dials)
        wanted = n_lines(view.question, self.page_width) + STATUS_LINES + AIRY_SOUNDS + SPACES
        foot = LABELS + SCALE_FOOT if view.dials else AIRY_FOOT
        return rows > 0 and self.size.height >= HEADING_LINES + wanted + 2 * rows + foot

    def n_lines(self, view: "View") -> int:
        """Lines that must be seen at once; a page to read may be scrolled."""
        return 0

    def least_height(self, view: "View") -> int:
        """Lines of a window in which nothing needed is hidden: what must be seen, heading and foot."""
        own = self.n_lines(view)
        if not own:
            return 0
        rows = keys(view.actions, self.size.width - MARGIN_CELLS).plain.count("\n") + 1
        notice = n_lines(f"! {view.notice}" if view.notice else "", self.size.width - MARGIN_CELLS)
        return HEADING_LINES + own + min(notice, 2) + HINT_LINES + KEYS_BORDER + rows

    def scroll(self, lines: int) -> bool:
        """Move a text that is longer than the screen; False where it is not."""
        page = self.query_one("#page", VerticalScroll)
        page.scroll_relative(y=lines, animate=False)
        return page.max_scroll_y > 0

    def put(self, name: str, content: Content) -> None:
        """Another content for one of the screen's texts."""
        self.query_one(f"#{name}", Static).update(content)


def paragraphs(texts: Iterable[str]) -> Content:
    """Texts with an empty line between."""
    return Content("\n\n").join([Content(text) for text in texts if text])


def keys(offers: "Iterable[Offer]", width: int) -> Content:
    """The line of keys: each key in reverse, then what it does; answers' keys stand beside the answers.

    A key and its words are never parted by the end of a line.
    """
    rows: list[list[Content]] = [[]]
    used = 0
    for offer in offers:
        if offer.action is Action.CHOOSE or not offer.shown:
            continue
        part = Content.styled(_firm(f" {offer.shown} "), "reverse") + Content(_firm(f" {offer.label}"))
        if rows[-1] and used + len(KEY_GAP) + part.cell_length > width:
            rows.append([])
            used = 0
        used += part.cell_length + (len(KEY_GAP) if rows[-1] else 0)
        rows[-1].append(part)
    return Content("\n").join([Content(_firm(KEY_GAP)).join(row) for row in rows])


def _firm(text: str) -> str:
    return text.replace(" ", FIRM_SPACE)


def n_lines(text: str, width: int) -> int:
    """Lines of a text in so many columns."""
    return len(textwrap.wrap(text, max(width, 1)))


def _progress(view: "View", width: int) -> str:
    if not view.progress:
        return ""
    cells = max(0, min(round(BAR_SHARE * width), width - MARGIN_CELLS - len(view.progress) - 1))
    full = round(view.share_done * cells)
    return f"{'━' * full}{'╌' * (cells - full)} {view.progress}"
