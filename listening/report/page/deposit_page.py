"""The frozen plan as one readable page, to deposit with a third party before the data are in."""

from collections import Counter
from collections.abc import Sequence

from listening.records.dealt import head_code
from listening.records.dealt.plan import Plan
from listening.records.forms.environment import environment
from listening.records.forms.frozen import Frozen, History
from listening.records.kinds import metric_register
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question, Superlative
from listening.report.sentences import kind_words, wording

FIRST = "Plan of a listening test, made before anybody listened."


def page(
    protocol: Protocol,
    plan: Plan,
    frozen: Frozen,
    history: History,
    *,
    heads: tuple[str, str] = ("", ""),
    rates: Sequence[str] = (),
) -> str:
    """The page in Markdown: questions, panel, stopping rule, exclusions, and the hashes that fix them.

    Whoever holds it can later compare its study hash with the one on the report.

    Parameters
    ----------
    rates : how often each rule of exclusion takes an honest listener, and one who guesses
    heads : where the record of the study and the ledger of its answers end now; empty: not begun
    """
    parts = [
        _head(protocol, plan),
        _questions(protocol),
        _panel(protocol),
        *([told] if (told := _sessions(protocol)) else []),
        _stopping(protocol),
        _exclusions(protocol, rates),
        *([told] if (told := _listener_covariates(protocol)) else []),
        _trials(protocol, plan),
        _versions(history),
        _hashes(plan, frozen),
        *([_heads(*heads)] if heads[0] else []),
        f"Written by {environment()}.",
    ]
    return "\n\n".join(parts) + "\n"


def _head(protocol: Protocol, plan: Plan) -> str:
    return f"""# {protocol.title}

{FIRST} Study `{protocol.name}`, version {plan.study_version},
dealt {plan.dealt_at}.

**Study hash** `{plan.study_digest}`

The same hash stands on the report. It covers the protocol, the sounds, their order for every listener, the
wordings and the sealed key that says which sound is which. Nothing of these can change without changing it.

Deposited with: ______________________  on: ______________  signature: ______________________"""


def _questions(protocol: Protocol) -> str:
    told = [_question(protocol, number, q) for number, q in enumerate(protocol.questions, start=1)]
    told += [
        _superlative(protocol, number, asked)
        for number, asked in enumerate(protocol.superlatives, start=len(told) + 1)
    ]
    return "## Planned questions\n\nOnly these earn a printed sentence.\n\n" + "\n".join(told)


def _superlative(protocol: Protocol, number: int, asked: Superlative) -> str:
    attribute = protocol.attribute(asked.attribute)
    how = "as recorded" if asked.presentation == AS_RECORDED else f"on {asked.presentation} stimuli"
    claim = f"{protocol.label(asked.condition)} is heard as {wording.superlative(attribute.comparative)}"
    smallest = f"{100 * asked.smallest_effect:g} choices in 100 against each other one"
    return (
        f"{number}. **{claim} of all that are compared** (`{asked.id}`), {how}. Asked: "
        f"“{attribute.wording}” Smallest effect that matters: {smallest}. One-sided error rate "
        f"{asked.alpha:g}; every comparison must hold at it by itself. Decided at the planned end alone."
    )


def _among(q: Question) -> str:
    if q.among is None:
        return ""
    said = " or ".join(f"“{one}”" for one in q.among.answers)
    return f", decided among {q.among.label} alone (who answered {said} to “{q.among.wording}”)"


def _pairs(protocol: Protocol, q: Question) -> str:
    """The pairs of a contrast of several, and what is taken of them."""
    if q.contrast.form == "pair":
        return ""
    said = "; ".join(f"{protocol.label(more)} – {protocol.label(than)}" for more, than in q.contrast.pairs)
    if q.contrast.form == "interaction":
        said += (
            " (the later ones turned round: a mean share above even chances says that the first is larger)"
        )
    return (
        f", by the mean share of choices over {len(q.contrast.pairs)} pairs, each weighing the same: {said}"
    )


def _question(protocol: Protocol, number: int, q: Question) -> str:
    attribute = protocol.attribute(q.attribute)
    more, than = protocol.label(q.contrast.more), protocol.label(q.contrast.than)
    heard = wording.is_heard(more, attribute.comparative, than)
    claim = kind_words.OF[q.kind].claimed.format(more=more, than=than, attribute=q.attribute, heard=heard)
    limit = _pairs(protocol, q) + _among(q)
    if q.stage > 1:
        limit += f", decided by the listeners of stage {q.stage} alone, which was added to the dealt study"
    if q.outside_limit is not None:
        limit += f"; at most {100 * q.outside_limit:g} % of listeners may hear a difference that matters"
    if q.claimed_ratio is not None and q.metric is not None:
        limit += (
            f". Besides, {metric_register.in_plain_words(q.metric, more)} is claimed to be at least "
            f"{wording.times(q.claimed_ratio)} that of {than}: the lower limit of the measured ratio must "
            "reach it"
        )
    how = "as recorded" if q.presentation == AS_RECORDED else f"on {q.presentation} stimuli"
    effect = {
        "share": f"{100 * q.smallest_effect:g} choices in 100",
        "share not guessed": f"right, and not guessed, in {100 * q.smallest_effect:g} trials of 100",
        "points": f"{q.smallest_effect:g} points of the scale",
    }.get(q.unit, f"{q.smallest_effect:g} logit")
    family = [other.id for other in protocol.questions if q.family and other.family == q.family]
    correction = (
        f", corrected (Holm) with the {len(family)} questions of `{q.family}`" if len(family) > 1 else ""
    )
    decided = "exact counts and a linear mixed model" if q.of_kind.by_right_answers else q.method
    return (
        f"{number}. **{claim}** (`{q.id}`), {how}. Asked: “{attribute.wording}” Smallest effect that "
        f"matters: {effect}{limit}. One-sided error rate {q.alpha:g}{correction}. Decided by: {decided}."
    )


def _panel(protocol: Protocol) -> str:
    panel = protocol.panel
    spare = f", and {panel.spare} spare places for those who replace a drop-out" if panel.spare else ""
    return f"""## Panel

{panel.listeners} listeners{spare}. They stand for: {panel.stands_for}. Training: {panel.training}."""


def _sessions(protocol: Protocol) -> str:
    """The sessions of a listener and the rule for who misses one; nothing where there is one session."""
    rule = protocol.sessions
    if rule.number < 2:
        return ""
    parts = sorted({block.part for block in protocol.blocks if block.part is not None})
    held = "; ".join(f"part {part}: {_asked(protocol, part)}" for part in parts)
    order = "over the panel in every order equally often" if rule.order == "balanced" else "in this order"
    split = f" Their parts are heard {order} ({held})." if parts else ""
    shared = " Hearings of blocks without a part are shared out evenly over all sessions."
    apart = f", at least {rule.apart_at_least_h:g} hours apart" if rule.apart_at_least_h else ""
    some = any(block.part is None for block in protocol.blocks)
    return (
        f"## Sessions\n\nA listener comes to {rule.number} sessions{apart}.{split}{shared if some else ''} "
        "Who misses a session decides a question only after having met each of its pairs (ratings: each of "
        f"its conditions) at least {rule.met_at_least} times, and is left out of that question otherwise. "
        "Whether answers differ from session to session is reported and decides nothing."
    )


def _asked(protocol: Protocol, part: int) -> str:
    blocks = [block for block in protocol.blocks if block.part == part]
    return " and ".join(f"{block.attribute}, {block.presentation}" for block in blocks)


def _stopping(protocol: Protocol) -> str:
    rule, planned = protocol.stopping, protocol.panel.listeners
    text = f"## Stopping rule\n\nListening ends when {planned} listeners have finished."
    if rule.fewest is not None:
        text += f" It may end earlier, with the reason stated, from {rule.fewest} finished listeners on."
    text += (
        " Who finished and withdraws before the first analysis still counts, without answers."
        if rule.withdrawn == "count"
        else " Who withdraws before the first analysis is replaced by another listener."
    )
    if rule.looks:
        looks = ", ".join(map(str, rule.looks))
        text += (
            f" Planned looks at {looks} finished ones share the error rate out by the {rule.spending} rule: "
            "a question decided there is decided."
        )
    else:
        text += " No look at the answers before that decides anything; every look is logged and reported."
    return text


def _exclusions(protocol: Protocol, rates: Sequence[str]) -> str:
    rule = protocol.exclusions
    lines = []
    if rule.controls_right_below is not None:
        lines.append(f"fewer than {100 * rule.controls_right_below:g} % of the control pairs right")
    if rule.median_response_below_s is not None:
        lines.append(f"a median time to answer below {rule.median_response_below_s:g} s")
    if rule.same_side_above is not None:
        lines.append(f"the same side chosen in more than {100 * rule.same_side_above:g} % of trials")
    if rule.repeats_alike_below is not None:
        lines.append(f"fewer than {100 * rule.repeats_alike_below:g} % of repeated pairs answered alike")
    if rule.hidden_reference_low_above is not None:
        share = 100 * rule.hidden_reference_low_above
        lines.append(f"the hidden reference graded below 90 in more than {share:g} % of trials")
    if rule.mid_anchor_high_above is not None:
        share = 100 * rule.mid_anchor_high_above
        lines.append(f"the mid anchor graded above 90 in more than {share:g} % of trials")
    if rule.difference_grades_p_above is not None:
        p = rule.difference_grades_p_above
        lines.append(f"difference grades not below zero (one-sided t test, p above {p:g})")
    told = "\n".join(f"- {line}" for line in lines) or "Nobody is left out."
    cost = "\n".join(f"- {rate}" for rate in rates)
    cost = (
        f"\n\nExact chances, under what is stated; nothing is assumed of the answers given:\n\n{cost}"
        if cost
        else ""
    )
    return f"## Who is left out of the deciding analysis\n\n{told}{cost}"


def _listener_covariates(protocol: Protocol) -> str:
    """What listeners say of themselves that is set against their shares; empty where none is planned."""
    if not protocol.covariates.listeners:
        return ""
    told = "\n".join(f"- {wording}" for wording in protocol.covariates.listeners)
    return f"""## Covariates of listeners

Listeners’ own shares are told by their answers to these questions. This describes; no subgroup gets a
verdict by it.

{told}"""


def _trials(protocol: Protocol, plan: Plan) -> str:
    counted = Counter(t.attribute for t in plan.slots[0].trials if not t.practice)
    rows = "\n".join(f"| {name} | {protocol.attribute(name).task} | {n} |" for name, n in counted.items())
    return f"## Trials of one listener\n\n| attribute | task | trials |\n|---|---|---|\n{rows}"


def _versions(history: History) -> str:
    rows = "\n".join(
        f"| {v.number} | {v.dealt_at} | `{v.study_digest[:16]}` | {v.reason or 'first'} |"
        for v in history.versions
    )
    return f"## Versions\n\n| version | dealt | study hash | reason |\n|---|---|---|---|\n{rows}"


def _heads(record: str, ledger: str) -> str:
    answers = f", and that of the answers so far at `{head_code.code(ledger)}`" if ledger else ""
    return f"""## Head of the record

The record of what was done with this study ends at `{head_code.code(record)}`{answers}. Whoever
holds this page can later have the record checked against it: `listening verify FOLDER --head CODE`."""


def _hashes(plan: Plan, frozen: Frozen) -> str:
    files = [f for f in frozen.files if f.what != "stimulus"]
    rows = "\n".join(f"| {f.what} | `{f.digest}` |" for f in files)
    sounds = sum(f.what == "stimulus" for f in frozen.files)
    return f"""## Hashes

SHA-256 of each file; the {sounds} sound files stand in the manifest. The key's own hash, salted with a secret
that lies with the key, is `{plan.key_digest}`.

| file | SHA-256 |
|---|---|
{rows}"""
