"""The program as a whole: help, version, exit codes, start-up."""

import subprocess
import sys

import pytest

from surfscan import __version__
from surfscan.cli import main

COMMANDS = ("demo", "start", "check", "measure", "report", "summary", "review", "pits", "degraded")


def test_help_lists_every_command(capsys):
    """`surfscan --help` names every command and succeeds."""
    assert main(["--help"]) == 0
    listed = [line.split()[0] for line in capsys.readouterr().out.split("Commands:")[1].splitlines() if line]
    assert tuple(listed[: len(COMMANDS)]) == COMMANDS


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command, capsys):
    """Each command explains itself, every option included."""
    assert main([command, "--help"]) == 0
    shown = capsys.readouterr().out
    assert f"surfscan {command}" in shown
    options = [line for line in shown.splitlines() if line.lstrip().startswith("--")]
    assert options


def test_version(capsys):
    """The version is that of the package."""
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"surfscan {__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "Usage"),
        (["pit"], "No such command"),
        (["pits"], "Missing argument"),
        (["pits", "a.png", "--page", "-1"], "page"),
        (["pits", "a.png", "--pixel-size-um", "wide"], "pixel"),
        (["pits", "a.png", "--pixel-size-um", "1,2,3"], "pixel"),
        (["pits", "a.png", "--no-such-option"], "No such option"),
    ],
)
def test_wrong_usage_is_exit_2(arguments, said, capsys):
    """Wrong usage says what is wrong on standard error, or shows the help, and exits with 2."""
    assert main(arguments) == 2
    shown = capsys.readouterr()
    assert said in (shown.err if arguments else shown.out + shown.err)


def test_runs_as_a_module():
    """`python -m surfscan` is the same program."""
    done = subprocess.run([sys.executable, "-m", "surfscan", "--version"], capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (0, f"surfscan {__version__}\n")


@pytest.mark.skipif(sys.platform == "win32", reason="the processor time of a child is not known there")
def test_help_is_quick():
    """The help comes in well under half a second of processor time on a warm cache."""
    import resource

    times = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-m", "surfscan", "--help"], capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert min(times) < 0.5
