"""What a fit of paired comparisons may be asked for, as plain values."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.errors import BadData

if TYPE_CHECKING:
    from stats.pairs.bradley_terry import PairLink, Ties


@dataclass(frozen=True)
class PairOptions:
    """The options; a name in `covariates` or `slopes` is a column, `order` the advantage of the first."""

    ties: "Ties | None" = None
    order: bool = True
    link: "PairLink" = "logit"
    reference: str | None = None
    covariates: tuple[str, ...] = ()
    slopes: tuple[str, ...] = ()
    correlated: bool = False
    penalised: bool = False

    @property
    def extra(self) -> tuple[str, ...]:
        """Columns that the table needs besides first, second and answer."""
        named = dict.fromkeys([*self.covariates, *self.slopes])
        return tuple(name for name in named if not (name == "order" and self.order))

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns that the table needs."""
        return ("first", "second", "answer", *self.extra, *(("listener",) if self.slopes else ()))

    @property
    def model(self) -> str:
        """What is fitted, in words."""
        kind = "Bradley-Terry" if self.link == "logit" else "Thurstone case V"
        ties = {None: "", "davidson": ", ties by Davidson", "rao-kupper": ", ties by Rao-Kupper"}[self.ties]
        order = ", order effect" if self.order else ""
        covariates = ", covariates" if self.covariates else ""
        penalised = ", penalised" if self.penalised else ""
        return f"{kind}{ties}{order}{covariates}{penalised}"


OPTIONAL = ("listener", "count")


def checked(options: PairOptions) -> PairOptions:
    """The options, where they fit each other.

    Raises
    ------
    BadData
        An unknown word, or two options that contradict each other.
    """
    if options.ties not in (None, "davidson", "rao-kupper"):
        raise BadData(f"ties {options.ties!r}: wanted davidson, rao-kupper or none")
    if options.link not in ("logit", "probit"):
        raise BadData(f"link {options.link!r}: wanted logit or probit")
    if options.correlated and not options.slopes:
        raise BadData("--correlated is about the slopes that vary over listeners: name them with --slopes")
    if options.reference and options.covariates:
        raise BadData("--reference names an item's strength, which --covariates replace: leave one out")
    if options.order and "order" in options.covariates:
        raise BadData("`order` stands among the covariates, and --order asks for it already: leave one out")
    if options.penalised and options.ties and options.slopes:
        raise BadData("--penalised is for answers without ties: leave it or --ties out")
    return options


def listed(names: Sequence[str] | str | None) -> tuple[str, ...]:
    """Names of columns: a list, one name, or several with commas between."""
    words = names.split(",") if isinstance(names, str) else (names or ())
    return tuple(word.strip() for word in words if word.strip())
