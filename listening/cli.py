"""The command line: finds the command's module by name and runs it."""

import argparse
import importlib
import os
import signal
import sys
import traceback
from collections.abc import Callable, Sequence
from types import ModuleType

from listening import __version__
from listening.commands import examples
from listening.console import amount, journal, notices, streams, typed
from listening.errors import ListeningError

# Solves here are small: BLAS threads slow them down and change the last bits.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

COMMANDS = {
    "new": "start a study folder from a protocol",
    "schema": "every key of a protocol, for editors or as a page",
    "size": "how large a panel a question needs",
    "rehearse": "the whole study by simulation: what the plan promises beside what is seen",
    "pilot": "what a pilot's answers say for the main study",
    "check": "look for every problem in a protocol and its recordings",
    "measure": "measure sounds, or all recordings of a study",
    "compare": "one support or design against another, over strikes, with limits",
    "picture": "look at sounds: waveform, spectrogram, partials, loudness, bands",
    "prepare": "make matched stimuli and verify them",
    "deal": "freeze the study: balanced orders, sealed key, coded clips",
    "amend": "take a changed protocol into a dealt study; the answers are kept",
    "deposit": "write the frozen plan as one page that a third party keeps",
    "station": "copy what a listening computer needs, and nothing else",
    "sit": "sit the blind test",
    "devices": "the sound outputs, and a test of left and right",
    "calibrate": "set the level of the station's headphones",
    "room": "note how the room is, for the record of each sitting",
    "desk": "who sits, how far, what failed: no answer and no key",
    "withdraw": "remove a listener's answers for good",
    "simulate": "let simulated listeners sit the test",
    "analyse": "unblind (open the key), fit, and decide the planned questions",
    "report": "write the page: findings and printable sentences",
    "predict": "what a panel would hear of a new recording, with limits",
    "claim": "hold a draft sentence against the findings",
    "export": "write answers and findings as tables another statistician can redo",
    "verify": "recompute hashes and findings: is the page what the data give?",
    "booths": "let several booths share one PostgreSQL server",
    "copy": "copy all answers between a file and a server, and prove it",
    "merge": "bring another site's sittings into this study",
    "demo": "do all of it on the bicycle bells, with a simulated panel",
    "completion": "print what your shell needs to complete commands and options",
    "import": "make findings and a page from a table of answers collected elsewhere",
    "fit": "fit a model to a table collected elsewhere",
}
WIDEST = max(map(len, COMMANDS))
SHOW_FAULTS = "LISTENING_SHOW_FAULTS"  # environment: let a fault of ours end in its traceback
SAYS_WHICH = "claim"  # it tells what a draft hides
SHOWN = ("new", "sit", "desk", "completion", "schema")  # they ask, or what they print is what they are for
MODULES = {"import": "import_table"}  # where the command's word cannot name a module


def main(argv: Sequence[str] | None = None) -> int:
    """Exit code of the command named by the first word.

    0 done; 1 something is left to do, or a fault of the program; 2 a person can mend it; 130 stopped.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    with streams.plain_output(), notices.told_once():
        try:
            code = _main(words)
            if sys.stdout is not None:
                sys.stdout.flush()
            return code
        except KeyboardInterrupt:
            print("stopped; what was done before stays as it is", file=sys.stderr)
            return 128 + signal.SIGINT
        except BrokenPipeError:  # whoever read our output has gone
            streams.to_nowhere()
            return 0
        except OSError as error:
            streams.to_nowhere()
            said = error.strerror or str(error)
            return _refuse(f"the output cannot be written ({said}); free space, or send it elsewhere")


def _main(words: list[str]) -> int:
    with amount.taken(notices.renewed(words)) as rest:
        return _command(rest)


def _command(words: list[str]) -> int:
    if fault := typed.fault_in(words, tells_itself=words[:1] == [SAYS_WHICH]):
        return _refuse(fault)
    if not words or words[0] not in COMMANDS:
        return _front_door(words)
    parser = argparse.ArgumentParser(
        prog=f"listening {words[0]}",
        description=COMMANDS[words[0]],
        epilog=examples.epilog(words[0]),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command = module(words[0])
    command.arguments(parser)
    amount.options(parser)
    return _run(words[0], command.run, parser.parse_args(words[1:]))


def module(command: str) -> ModuleType:
    """The module behind a command."""
    return importlib.import_module(f"listening.commands.{MODULES.get(command, command)}")


def _front_door(words: list[str]) -> int:
    listing = "\n".join(f"  {name:<{WIDEST + 2}}{line}" for name, line in COMMANDS.items())
    parser = argparse.ArgumentParser(
        prog="listening",
        description="Listening tests for products that ring: do people hear it, beyond being louder?",
        epilog=f"commands, in the order of a study:\n{listing}\n\nlistening COMMAND --help explains one.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"listening {__version__}")
    parser.add_argument("command", nargs="?", choices=list(COMMANDS), metavar="command")
    parser.parse_args(words)
    parser.print_help()
    return 0


def _run(name: str, run: Callable[[argparse.Namespace], int], args: argparse.Namespace) -> int:
    try:
        with streams.silent(
            when=amount.is_quiet() and not getattr(args, "json", False) and name not in SHOWN
        ):
            code = int(run(args) or 0)
        if code == 0 and name in journal.STEPS:
            journal.write(name, args)
        return code
    except BrokenPipeError:
        raise
    except ListeningError as error:
        return _refuse(str(error))
    except OSError as error:  # a name too long, a loop of links, a folder that may not be looked into
        said = error.strerror or str(error)
        return _refuse(f"{error.filename or name}: {said}; check the path, its rights and the disk")
    except Exception as error:
        if os.environ.get(SHOW_FAULTS):
            raise
        print(
            f"listening {name}: a fault of this program ({type(error).__name__} in {_where(error)}); "
            "nothing that was stored is harmed; please report it with what it prints under "
            f"{SHOW_FAULTS}=1",
            file=sys.stderr,
        )
        return 1


def _refuse(said: str) -> int:
    print(f"listening: {said}", file=sys.stderr)
    return 2


def _where(error: Exception) -> str:
    """Which of our lines failed: file and line, no value."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if f"{os.sep}listening{os.sep}" in frame.filename]
    return f"{os.path.basename(ours[-1].filename)}:{ours[-1].lineno}" if ours else "no file of ours"
