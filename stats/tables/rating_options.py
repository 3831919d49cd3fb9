"""What a fit of ratings may be asked for, as plain values."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from stats.errors import BadData
from stats.tables.pair_options import listed

if TYPE_CHECKING:
    from stats.fixed.binary import Link

Scale = Literal["interval", "ordinal", "binary"]
DegreesOfFreedom = Literal["satterthwaite", "kenward-roger"]


@dataclass(frozen=True)
class RatingOptions:
    """The options; `fixed` and `random` name columns, a trailing `:` makes a number column a factor.

    `a:b` in `fixed` is how much the effect of a differs over the levels of b.
    """

    answer: str
    fixed: tuple[str, ...]
    random: tuple[str, ...] = ()
    scale: Scale = "interval"
    link: "Link | None" = None
    """None: logit."""
    nodes: int = 1
    reml: bool | None = None
    """None: restricted likelihood where there is one."""
    df: "DegreesOfFreedom | None" = None
    """None: Satterthwaite's, on the interval scale."""

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns that the table needs."""
        return (self.answer, *(name.rstrip(":") for name in self.mains if name != "1"), *self.random)

    @property
    def mains(self) -> tuple[str, ...]:
        """Effects that are no interaction."""
        return tuple(name for name in self.fixed if ":" not in name.rstrip(":"))

    @property
    def interactions(self) -> tuple[tuple[str, ...], ...]:
        """The columns of each interaction."""
        return tuple(tuple(name.split(":")) for name in self.fixed if name not in self.mains)


def checked(
    answer: str, fixed: Sequence[str] | str, random: Sequence[str] | str, **others: Any
) -> RatingOptions:
    """The options, where they fit each other.

    Parameters
    ----------
    answer : column of the ratings
    fixed, random : columns of the fixed effects and of the groupings

    Raises
    ------
    BadData
        An unknown word, a column named twice, or two options that contradict each other.
    """
    if isinstance(fixed, str) and not listed(fixed):
        raise BadData(f"--fixed {fixed!r}: wanted columns with commas between, or 1 alone")
    asked = RatingOptions(answer, listed(fixed) or ("1",), listed(random), **others)
    if asked.scale not in ("interval", "ordinal", "binary"):
        raise BadData(f"scale {asked.scale!r}: wanted interval, ordinal or binary")
    if asked.link not in (None, "logit", "probit", "cloglog"):
        raise BadData(f"link {asked.link!r}: wanted logit, probit or cloglog")
    doubled = sorted({name for name in asked.columns if asked.columns.count(name) > 1})
    if doubled:
        raise BadData(f"column {', '.join(doubled)} is asked for twice; name each column once")
    if "1" in asked.fixed and len(asked.fixed) > 1:
        raise BadData(f"--fixed {','.join(asked.fixed)!r}: wanted columns with commas between, or 1 alone")
    for parts in asked.interactions:
        if len(set(parts)) < len(parts):
            raise BadData(f"--fixed {':'.join(parts)}: wanted an interaction of different columns, A:B")
        if missing := [name for name in parts if name not in asked.columns]:
            raise BadData(
                f"--fixed {':'.join(parts)}: {', '.join(missing) or 'nothing'} does not stand by itself; "
                f"name the columns too: --fixed {','.join([*parts, ':'.join(parts)])}"
            )
    if asked.nodes < 1:
        raise BadData(f"{asked.nodes} nodes, wanted 1 or more")
    if asked.scale == "interval" and (asked.link or asked.nodes != 1):
        raise BadData("--link and --nodes belong to --scale ordinal and binary; leave them out")
    if asked.scale != "interval" and asked.reml is not None:
        raise BadData("--ml belongs to --scale interval; the other scales are fitted by ML anyway")
    if asked.df not in (None, "satterthwaite", "kenward-roger"):
        raise BadData(f"df {asked.df!r}: wanted satterthwaite or kenward-roger")
    if asked.df is not None and (asked.scale != "interval" or not asked.random):
        raise BadData("--df belongs to --scale interval with --random columns; leave it out")
    if asked.df == "kenward-roger" and asked.reml is False:
        raise BadData("--df kenward-roger needs the restricted likelihood; leave --ml out")
    if asked.nodes > 1 and len(asked.random) != 1:
        raise BadData(f"--nodes {asked.nodes} needs exactly one --random column, found {len(asked.random)}")
    return asked
