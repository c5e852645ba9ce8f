"""The documents say what is so: links lead somewhere, examples work, commands and options exist."""

import re
import runpy
from pathlib import Path

import pytest
from typer.testing import CliRunner

import surfscan
from surfscan.cli.app import app
from surfscan.study.manifest import load_study

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_links_lead_somewhere(document):
    """Every link to a file or heading of the project leads to one; every picture has words beside it."""
    text = (ROOT / document).read_text(encoding="utf-8")
    headings = {re.sub(r"[^a-z0-9]+", "-", h.lower()) for h in re.findall(r"(?m)^#+ (.+)$", text)}
    for words, target in re.findall(r"!?\[([^\]]*)\]\(([^)]+)\)", text):
        assert words.strip()
        if target.startswith("#"):
            assert target[1:] in headings, target
        elif not target.startswith("http"):
            assert (ROOT / target).is_file(), target


def test_readme_manifest_is_a_study(tmp_path):
    """The study.toml of the walk is accepted as it stands."""
    examples = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    (tmp_path / "study.toml").write_text(re.sub(r"(?m)^   ", "", "".join(examples)), encoding="utf-8")
    study = load_study(tmp_path)
    assert study.images[0].pixel_size_um == (0.5, 0.5)
    assert study.group("uncoated 7 d").baseline == "uncoated as received"
    assert [len(held) for held in (study.sweeps, study.weighings, study.gas, study.logs)] == [1, 1, 1, 1]


@pytest.mark.parametrize("usage", re.findall(r"(?m)^\| `surfscan ([^`]+)` \|", README))
def test_commands_of_the_table_exist(usage):
    """Every command of the table answers to --help and has the options that the table gives it."""
    command, *rest = usage.split()
    shown = CliRunner().invoke(app, [command, "--help"])
    assert shown.exit_code == 0
    for option in re.findall(r"--[a-z-]+", " ".join(rest)):
        assert option in shown.output


def test_every_command_is_in_the_table():
    """No command is missing from the README."""
    listed = {usage.split()[0] for usage in re.findall(r"(?m)^\| `surfscan ([^`]+)` \|", README)}
    assert listed == {command.callback.__name__.replace("_", "-") for command in app.registered_commands}


def test_changelog_knows_the_version():
    """The version of the package has its entry."""
    assert surfscan.__version__ in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_python_example_names_exist():
    """The imports of the Python example work."""
    (example,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    exec("\n".join(line for line in example.splitlines() if "import" in line), {})


def test_settings_document_is_up_to_date():
    """docs/settings.md says what the settings classes say (python docs/write_settings.py writes it anew)."""
    written = runpy.run_path(str(ROOT / "docs" / "write_settings.py"))["settings_text"]()
    assert (ROOT / "docs" / "settings.md").read_text(encoding="utf-8") == written
