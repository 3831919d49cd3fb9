"""Every command has help with examples that its own parser takes, and shells can complete it."""

import argparse
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from listening import cli
from listening.commands import completion, examples

CASES = [(name, line) for name, cases in examples.EXAMPLES.items() for line, _ in cases]


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_every_command_has_an_example(name: str) -> None:
    assert examples.EXAMPLES.get(name), f"add {name} to listening/commands/examples.py"


@pytest.mark.parametrize(("name", "line"), CASES, ids=[line for _, line in CASES])
def test_an_example_is_taken_by_its_commands_parser(name: str, line: str) -> None:
    words = shlex.split(line.split(">>")[0])
    assert words[:2] == ["listening", name]
    parser = argparse.ArgumentParser(exit_on_error=False)
    cli.module(name).arguments(parser)
    parser.parse_args(words[2:])


def test_the_help_of_a_command_ends_with_its_examples(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        cli.main(["merge", "--help"])
    assert left.value.code == 0
    assert "listening merge bells north --site north --keep-apart" in capsys.readouterr().out


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is missing")
def test_bash_completes_a_command_and_its_options() -> None:
    script = completion_script("bash")
    ask = "COMP_WORDS=(listening {}); COMP_CWORD={}; _shtab_listening; echo ${{COMPREPLY[@]}}"
    said = subprocess.run(
        ["bash"],
        input=f"{script}\n{ask.format('mea', 1)}\n{ask.format('merge --si', 2)}\n",
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    assert said == ["measure", "--site"]


@pytest.mark.skipif(shutil.which("fish") is None, reason="fish is missing")
def test_fish_completes_a_command_and_its_options() -> None:
    ask = 'complete -C "listening mea"; complete -C "listening merge --si"'
    said = subprocess.run(
        ["fish", "--no-config"],
        input=f"{completion_script('fish')}\n{ask}\n",
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    assert [line.split("\t")[0] for line in said] == ["measure", "--site"]


@pytest.mark.skipif(shutil.which("zsh") is None, reason="zsh is missing")
def test_zsh_takes_the_completion_as_its_own(tmp_path: Path) -> None:
    (tmp_path / "_listening").write_text(completion_script("zsh"))
    ask = f"fpath=({tmp_path} $fpath); autoload -Uz compinit; compinit -u -D; print $_comps[listening]"
    said = subprocess.run(["zsh", "-fc", ask], capture_output=True, text=True, check=True).stdout
    assert said == "_listening\n"
    subprocess.run(["zsh", "-n", str(tmp_path / "_listening")], check=True)


def completion_script(shell: str) -> str:
    import shtab

    return str(shtab.complete(completion.whole_parser(), shell))


def test_the_program_runs_as_a_module() -> None:
    import sys

    said = subprocess.run(
        [sys.executable, "-m", "listening", "--version"], capture_output=True, text=True, check=True
    )
    assert said.stdout.startswith("listening ")


def test_every_command_stands_apart_from_what_it_does(capsys):
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    said = capsys.readouterr().out
    for name, line in cli.COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(line)}$", said, re.M), name
