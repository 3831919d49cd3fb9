"""Every number on a page is the printed form of one number in the findings, and figures show those numbers.

The page is made from the findings and from disturbed copies in which every number is another one. A number on
the page is accounted for if one place in the findings prints as it in all of them: what a template works out
by itself, or has written into it, follows no place.
"""

import json
import math
import random
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest

from listening.records.found.findings import Findings
from listening.report import rounding
from listening.report.figures import figures
from listening.report.page import claims_sheet, page
from listening.report.sentences import forms, language, slots

Place = tuple[str | int, ...]

NUMBER = re.compile(r"(?<![\w.,/-])[−-]?\d+(?:\.\d+)?(?![\w/-])")
WRITTEN = (  # numbers that are words of the page: units, standards, conventions
    "in 100(?! of)",
    "(of|von|in) 100(?= [(]| choices| geschätzt|, guess|[.])",
    "ISO 532-1",
    "8 of 10 people",
    "of 100 choices",
    "of 100 trials",
    "k = 2",
    "SHA-256",
    "Davidson 1970",
)
COUNTED = {
    "questions": 0,
    "against": 1,
}  # lists whose length the page gives, and how many it adds: the one named
KEPT = ("format", "study_version")  # another one would make another page
SHARES = ("share", "first_share", "repeats_agreed", "explained_by_level", "split_limit")
ESTIMATED = ("share_alone", "share_averaged", "share_on_top", "share_left_over", "share_beyond_level")
SORTED = {  # what the page puts in order moves together, below so much of its place
    ("heard_measured", "left_out_error"): 1,
    ("strengths", "value"): 2,
}
ALIKE = {"n_planned": "n_listeners"}  # equal in the findings, and the page would say it if they were not
N_DISTURBED = 8


class Words(HTMLParser):
    """What a page says, in order: text, names of figures and controls; styles and drawings left out."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.inside: list[str] = []
        self.said: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.said += [value for name, value in attrs if name in ("aria-label", "alt", "title") and value]
        if tag in ("style", "svg"):
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.inside and tag == self.inside[-1]:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if not self.inside:
            self.said.append(data)


def numbers(text: str) -> list[str]:
    """The numbers on a page in order, those in its fixed words left out."""
    said = re.sub(r"(?<=\d),(?=\d)", ".", "\n".join(Words(text).said))  # German decimals
    for words in WRITTEN:
        said = re.sub(words, " ", said)
    return NUMBER.findall(said)


def leaves(thing: Any, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """Every number and text in the findings with its place, and the length of each list the page counts."""
    if isinstance(thing, dict):
        for key, value in thing.items():
            yield from leaves(value, (*place, key))
    elif isinstance(thing, list):
        if place[-1] in COUNTED:
            yield (*place, "count"), len(thing)
            yield (*place, "with those added"), len(thing) + COUNTED[str(place[-1])]
        for i, value in enumerate(thing):
            yield from leaves(value, (*place, i))
    elif thing is not None and not isinstance(thing, bool) and place[-1] not in KEPT:
        yield place, thing


def tallies(raw: Any) -> Iterator[tuple[Place, int]]:
    """How many were planned, how many came out how, and how many sentences may be printed."""
    planned = [*raw["questions"], *raw["superlatives"]]
    yield ("tally", "planned"), len(planned)
    for word in ("supported", "contradicted", "undecided", "no verdict"):
        yield ("tally", word), sum(one["word"] == word for one in planned)
    made = forms.all_of(Findings.model_validate(raw))
    english = [form for form in made if (form.language, form.use) == ("en", "sentence")]
    yield ("tally", "printable"), len(english)


def disturbed(thing: Any, version: int, place: Place = ()) -> Any:
    """The same findings with other numbers: signs and zeros stay, shares stay between 0 and 1."""
    if isinstance(thing, dict):
        return {key: disturbed(value, version, (*place, key)) for key, value in thing.items()}
    if isinstance(thing, list):
        return [disturbed(value, version, (*place, i)) for i, value in enumerate(thing)]
    if isinstance(thing, bool) or thing is None or not version or place[-1] in KEPT:
        return thing
    kin = place[:-1][: SORTED.get((str(place[0]), str(place[-1])))]
    rng = random.Random(f"{version} {kin} {ALIKE.get(str(place[-1]), place[-1])}")
    if isinstance(thing, float):
        sign = (thing > 0) - (thing < 0)
        if 0 <= thing <= 1:
            return sign * (rng.uniform(0.05, 0.45) + 0.5 * thing)
        return sign * (rng.uniform(0.1, 1.1) * abs(thing) + rng.uniform(0.1, 1.0))  # log-odds stay apart
    if isinstance(thing, int):
        return thing + rng.randint(1, 99) if thing else 0
    return NUMBER.sub(lambda m: _other_digits(m[0], version), thing)


def _other_digits(token: str, shift: int) -> str:
    return re.sub(r"\d", lambda m: str((int(m[0]) + shift) % 10), token)


def printed(place: Place, value: Any) -> list[str]:
    """The forms in which the page may print what stands at a place of the findings, always as many."""
    if isinstance(value, str):
        return NUMBER.findall(value)
    if isinstance(value, int):
        return [str(value)]
    names = [str(part) for part in place[-2:]]
    if any(name.startswith(ESTIMATED) for name in names) and place[-1] != "coverage":  # may leave 0 to 1
        return [str(round(100 * value)).replace("-", rounding.MINUS)]
    if any(name.startswith(SHARES) for name in names) and place[-1] != "coverage":
        finer = [rounding.number(100 * value, digits) for digits in range(1, 5)]
        whole = str(round(100 * value)).replace("-", rounding.MINUS)
        kept = slots.in_hundred(value, language.of(language.ENGLISH)) if value >= 0 else whole
        beside = rounding.in_hundred_beside(value, 0.5) if value >= 0 else whole
        return [_bare(rounding.in_hundred(value)), whole, kept, _bare(beside), *finer]
    if place[-1] == "smallest_effect":
        return [_bare(rounding.in_hundred(value)), f"{value:g}"]
    if place[-1] in ("coverage", "slope_coverage"):
        return [_bare(rounding.level(value))]
    if place[-1] == "p":
        return [_bare(rounding.p_value(value))]
    if names[-1].startswith("alpha"):
        return [f"{value:g}", f"{value:.3g}"]
    as_share = 1 / (1 + math.exp(-value)) if abs(value) < 500 else float(value > 0)  # log-odds
    in_shares = [
        _bare(rounding.in_hundred(as_share)),
        rounding.number(100 * as_share, 1),
        str(round(100 * value)).replace("-", rounding.MINUS),
    ]
    return [*in_shares, *(rounding.number(value, digits) for digits in range(4))]


def _bare(text: str) -> str:
    return NUMBER.findall(text)[0]


def accounted(versions: list[Any]) -> set[tuple[str, ...]]:
    """What each place prints as, in all versions at once."""
    found = [dict(leaves(one)) | dict(tallies(one)) for one in versions]
    return {
        forms
        for place in found[0]
        for forms in zip(*(printed(place, one[place]) for one in found), strict=True)
    }


@pytest.fixture(
    scope="module",
    params=[
        ("simulated_findings", page.render),
        ("simulated_findings", claims_sheet.render),
        ("imported_findings", page.render),
    ],
    ids=["page", "claims sheet", "page of a table"],
)
def shown(request) -> tuple[list[list[str]], set[tuple[str, ...]]]:
    """The numbers on the versions of a page, and what is accounted for."""
    name, render = request.param
    raw = json.loads(request.getfixturevalue(name).to_json())
    versions = [disturbed(raw, version) for version in range(1 + N_DISTURBED)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "svg_of", lambda draw, *, title, **_: f'<svg aria-label="{title}"></svg>')
        texts = [render(Findings.model_validate(one)) for one in versions]
    return [numbers(text) for text in texts], accounted(versions)


def test_every_number_is_the_printed_form_of_one_place_in_the_findings(shown):
    tokens, known = shown
    assert len(tokens[0]) > 30
    assert {len(one) for one in tokens} == {len(tokens[0])}
    assert [numbers for numbers in zip(*tokens, strict=True) if numbers not in known] == []


def test_each_number_changed_by_one_in_its_last_digit_is_seen(shown):
    tokens, known = shown
    unseen = []
    for first, *rest in zip(*tokens, strict=True):
        wrong = first[:-1] + str((int(first[-1]) + 1) % 10)
        if (wrong, *rest) in known:
            unseen.append((first, wrong))
    assert unseen == []
