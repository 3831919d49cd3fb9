"""`listening predict`: what a panel would hear of a recording that was in no test."""

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listening.console import progress, show
from listening.errors import StudyError
from listening.records.found.findings import Findings
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study, open_study

if TYPE_CHECKING:
    from listening.analysis.explain.prediction import Prediction

LIMITS = (
    "A prediction for recordings like those of the test, from what was measured alone: no finding, and no "
    "ground for a claim. Only a test with listeners is."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    parser.add_argument("recording", type=Path, help="sound file of one strike, recorded like the study's")
    parser.add_argument("--attribute", help="what is asked; needed where the study asked several")
    parser.add_argument("--presentation", help="`as recorded` or `matched`; needed where both were asked")
    parser.add_argument("--metric", help="predict from this metric, not from the one that predicts best")
    parser.add_argument("--pascal-per-full-scale", type=float, help="calibration of the recording")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Measure the recording as the study would play it, and predict."""
    from listening.analysis.explain import prediction

    study = open_study(args.folder)
    found = Findings.load(study.findings)
    attribute, presentation = _asked(prediction.choices(found), args.attribute, args.presentation)
    with progress.bar("measuring") as on_progress:
        on_progress(0, 1)
        measured = _measured(study, args, presentation)
    made = prediction.predict(
        found, measured, attribute=attribute, presentation=presentation, metric=args.metric
    )
    show.result(args, _lines(args.recording, made), _plain(args.recording, made))
    return 0


def _measured(study: Study, args: argparse.Namespace, presentation: str) -> dict[str, float | None]:
    from listening.stimuli import unseen_recording

    return unseen_recording.as_played(
        args.recording,
        presentation,
        chosen=protocol.load(study.protocol),
        protocol_path=study.protocol,
        manifest=Manifest.load(study.manifest),
        pascal_per_full_scale=args.pascal_per_full_scale,
    )


def _asked(
    choices: list[tuple[str, str]], attribute: str | None, presentation: str | None
) -> tuple[str, str]:
    """The one attribute and presentation meant.

    Raises
    ------
    StudyError
        None, or several.
    """
    left = [c for c in choices if attribute in (None, c[0]) and presentation in (None, c[1])]
    if len(left) == 1:
        return left[0]
    wanted = "; ".join(f"--attribute {a!r} --presentation {p!r}" for a, p in choices)
    if not choices:
        raise StudyError(
            "nothing in this study can be predicted: no attribute was asked of five conditions or more, "
            "all compared, with stimuli that were measured"
        )
    raise StudyError(f"{len(left)} attributes and presentations fit, wanted one: {wanted}")


def _plain(recording: Path, made: "Prediction") -> dict[str, Any]:
    plain = dataclasses.asdict(made)
    for name in ("strength", "one_listener"):
        plain[name] = getattr(made, name).model_dump()
    plain["against"] = [
        {"condition": a.condition, "label": a.label}
        | {"difference": a.difference.model_dump(), "share": a.share.model_dump()}
        for a in made.against
    ]
    return {"recording": str(recording)} | plain | {"limits": LIMITS}


def _lines(recording: Path, made: "Prediction") -> list[str]:
    from listening.records.kinds import metric_register
    from listening.report.rounding import in_hundred, level, limits, number, signed

    words = metric_register.named(made.metric)
    lines = ["SIMULATED PANEL: nobody listened"] if made.simulated else []
    lines += [
        f"{recording.name}, {made.attribute}, {made.presentation}: predicted from {words.name} "
        f"{number(made.value, words.decimals)} {words.unit} (heard: {number(made.lowest, words.decimals)} to "
        f"{number(made.highest, words.decimals)}, {made.n_conditions} conditions)".replace("  ", " "),
        f"  strength {signed(made.strength.value)} log-odds, {level(made.strength.coverage)} limits "
        f"{limits(made.strength)} (the test's conditions have a mean of 0)",
        f"  for one listener: {limits(made.one_listener)}",
        "  would be chosen against",
    ]
    lines += [
        f"    {a.label}: {in_hundred(a.share.value)} times in 100 "
        f"({in_hundred(a.share.lower)} to {in_hundred(a.share.upper)})"
        for a in made.against
    ]
    lines.append(f"  the same line missed unseen conditions by {number(made.left_out_error)} log-odds")
    lines += [f"  outside what was heard, not taken into account: {line}" for line in made.also_outside]
    if made.as_good:
        lines.append(f"  {len(made.as_good)} other metrics may predict as well; the data do not tell")
    return [metric_register.in_words(line) for line in lines] + [LIMITS]
