"""`listening calibrate`: calibrate the station's headphones with an ear simulator and a sound level meter."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from listening.console import show
from listening.errors import ListeningError, StudyError
from listening.records.sounds.level import Level
from listening.records.study import Study

SIGNAL_HZ = 1000.0
SIGNAL_DB = -20.0  # RMS, re full scale
PLAYED_S = 10.0
CAUTION = (
    "cautions: keep the headphones off your ears while the signal plays; local rules for noise and hearing "
    "apply, and a qualified person decides what level is allowed"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder; only its station folder is needed")
    parser.add_argument("--device", metavar="D", help="sound device, by number or name")
    parser.add_argument(
        "--side", choices=("left", "right", "both"), default="both", help="side of the headphones"
    )
    parser.add_argument("--play", action="store_true", help="play the 1 kHz signal for the meter")
    parser.add_argument("--seconds", type=float, default=PLAYED_S, help="how long it plays (default 10)")
    parser.add_argument("--reading", type=float, metavar="DB", help="what the meter showed, dB re 20 uPa")
    parser.add_argument("--headphones", metavar="MODEL", help="make and model on the coupler")
    parser.add_argument(
        "--coupler", metavar="NAME", help="ear simulator or coupler: IEC 60318-1, for example"
    )
    parser.add_argument(
        "--field", choices=("free", "diffuse", "none"), default="none", help="sound field of the correction"
    )
    parser.add_argument("--correction-db", type=float, default=0.0, help="added to the reading at 1 kHz")
    parser.add_argument(
        "--ceiling-db", type=float, default=85.0, help="highest LAFmax allowed at the ear (default 85)"
    )
    parser.add_argument(
        "--forget", action="store_true", help="drop the calibration: uncalibrated from now on"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Play, store, forget, or show."""
    study = Study(args.folder)
    if not study.plan.is_file():
        raise StudyError(f"{study.plan}: no such file; deal the study first: listening deal {study.root}")
    if args.play:
        return _play(args, study)
    if args.reading is not None:
        return _store(args, study)
    if args.forget:
        study.level.unlink(missing_ok=True)
    return _show(args, study)


def _play(args: argparse.Namespace, study: Study) -> int:
    from listening.audio import probe, signals
    from listening.console import sounding
    from listening.records.dealt.plan import Plan

    device = probe.chosen(args.device, probe.devices())
    rate_hz = Plan.load(study.plan).rate_hz
    tone = signals.sine(SIGNAL_HZ, rate_hz=rate_hz, length_s=args.seconds, level_db=SIGNAL_DB, side=args.side)
    sounding.play(device, [tone], rate_hz=rate_hz)
    lines = [
        f"1 kHz at {SIGNAL_DB:.0f} dB re full scale was played on {device.name}, {args.side}",
        f"store the meter's reading with: listening calibrate {study.root} --device '{device.name}' "
        f"--side {args.side} --reading DB --headphones MODEL --coupler NAME",
        CAUTION,
    ]
    show.result(args, lines, {"device": device.name, "signal_db": SIGNAL_DB, "side": args.side})
    return 0


def _store(args: argparse.Namespace, study: Study) -> int:
    from pydantic import ValidationError

    from listening.audio import probe

    missing = [name for name in ("headphones", "coupler") if not getattr(args, name)]
    if missing:
        raise ListeningError(
            f"--reading needs --{' and --'.join(missing)}: a level without them is no calibration"
        )
    device = probe.chosen(args.device, probe.devices())
    try:
        level = Level(
            device=device.name,
            headphones=args.headphones,
            coupler=args.coupler,
            side=args.side,
            field=args.field,
            correction_db=args.correction_db,
            signal_db=SIGNAL_DB,
            reading_db=args.reading,
            ceiling_db=args.ceiling_db,
            calibrated_at=datetime.now(UTC).isoformat(timespec="seconds"),
        )
    except ValidationError as error:
        faults = "; ".join(f"{e['loc'][0]}: found {e['input']}, {e['msg']}" for e in error.errors())
        raise ListeningError(f"calibration: {faults}") from error
    _check_clips(study, level)
    level.save(study.level)
    return _show(args, study)


def _check_clips(study: Study, level: Level) -> None:
    """The strongest clip stays below the ceiling, or nothing is stored."""
    from listening.records.dealt.plan import Plan
    from listening.session.sounding.clip_reading import Clips

    plan = Plan.load(study.plan)
    clips = Clips(study.clips, plan.rate_hz)
    strongest_db = level.at_ear_db(clips.laf_max_db(plan.level_check_clip))
    if strongest_db > level.ceiling_db:
        raise ListeningError(
            f"the strongest clip would reach {strongest_db:.1f} dB LAFmax at the ear, the ceiling is "
            f"{level.ceiling_db:.1f} dB; turn the amplifier down by "
            f"{strongest_db - level.ceiling_db:.1f} dB or more and calibrate again; nothing was stored"
        )


def _show(args: argparse.Namespace, study: Study) -> int:
    if not study.level.is_file():
        lines = [
            "uncalibrated: no level in dB SPL, no loudness in sone and no dose is printed; the only ceiling "
            "is full scale",
            f"play the signal for a meter with: listening calibrate {study.root} --play",
            CAUTION,
        ]
        show.result(args, lines, {"calibrated": False})
        return 0
    level = Level.load(study.level)
    lines = [
        f"calibrated {level.calibrated_at} on {level.device}, {level.headphones}, {level.side}, "
        f"in {level.coupler}",
        f"a signal of 0 dB re full scale (RMS) is {level.at_ear_db(0.0):.1f} dB at the ear "
        f"(field correction: {level.field}, {level.correction_db:+.1f} dB)",
        f"ceiling: {level.ceiling_db:.1f} dB LAFmax; it holds while nobody turns a volume knob",
        CAUTION,
    ]
    show.result(args, lines, {"calibrated": True, **level.model_dump()})
    return 0
