"""Settings files: both shapes, and every fault named with its remedy."""

import pytest

from surfscan.cli.settings_file import read_settings, with_stated
from surfscan.errors import InputError
from surfscan.procedures.settings import DegradedSettings, PitSettings


def _file(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding=encoding)
    return path


def test_defaults_without_file():
    """No file gives the documented defaults."""
    assert read_settings(None, "pits", PitSettings) == PitSettings()


@pytest.mark.parametrize("prefix", ["", "settings."])
def test_both_shapes(tmp_path, prefix):
    """[pits] and [settings.pits] say the same; what is not said keeps its default."""
    path = _file(tmp_path, f"[{prefix}pits]\nmin_contrast = 0.2\n[{prefix}degraded]\nclasses = 3\n")
    assert read_settings(path, "pits", PitSettings) == PitSettings(min_contrast=0.2)
    assert read_settings(path, "degraded", DegradedSettings) == DegradedSettings(classes=3)


def test_study_file_serves(tmp_path):
    """A study.toml may be handed in whole: only its settings are read."""
    path = _file(tmp_path, 'title = "t"\n[settings.pits]\nmin_contrast = 0.2\n[[specimen]]\nid = "A"\n')
    assert read_settings(path, "pits", PitSettings).min_contrast == 0.2


def test_byte_order_mark(tmp_path):
    """A byte order mark that an editor left is no fault."""
    path = _file(tmp_path, "[pits]\nmin_contrast = 0.2\n", encoding="utf-8-sig")
    assert read_settings(path, "pits", PitSettings).min_contrast == 0.2


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("[pits]\nmin_contrasts = 0.2\n", r":2: unknown key 'min_contrasts'\. Did you mean 'min_contrast'\?"),
        ("[pits]\nzebra = 1\n", r":2: unknown key 'zebra'\. Known here: specimen_region"),
        ("\n[pits]\nmin_diameter_mm = 1\n", r":3: .*in µm here: write min_diameter_um = 1000"),
        ("[settings.pits]\nmin_contrast = 2\n", r":2: min_contrast = 2 cannot be used\. .*0\.95"),
        ("[pits]\nzebra = 1\nmin_contrast = 2\n", r":2: unknown key 'zebra'.*\n  line 3: min_contrast = 2"),
        ("[pit]\nmin_contrast = 0.2\n", r":1: unknown table or key 'pit'\. Did you mean \[pits\]\?"),
        ("[zebra]\n", r":1: unknown table or key 'zebra'\. The tables are"),
        (
            "min_contrast = 0.2\n",
            r":1: the key 'min_contrast' stands outside a table\. Put it under \[pits\]",
        ),
        ("pits = 3\n", r":1: unknown table or key 'pits'"),
        ("[pits\n", r"is not valid TOML \(.*line 1"),
    ],
)
def test_faults(tmp_path, text, fault):
    """Unknown keys, tables, values out of range and broken TOML: the file, the fault and the remedy."""
    path = _file(tmp_path, text)
    with pytest.raises(InputError, match=fault) as caught:
        read_settings(path, "pits", PitSettings)
    assert str(path) in str(caught.value)


def test_not_text_and_missing(tmp_path):
    """A picture in place of a settings file, and no file at all."""
    path = tmp_path / "settings.toml"
    path.write_bytes(b"\x89PNG\r\n\xff\xfe")
    with pytest.raises(InputError, match="is not UTF-8 text"):
        read_settings(path, "pits", PitSettings)
    with pytest.raises(InputError, match="cannot be read"):
        read_settings(tmp_path / "none.toml", "pits", PitSettings)


def test_what_the_command_line_states_replaces_the_file_and_is_held_to_its_range(tmp_path):
    """None leaves a setting; a value out of range names the option as the user typed it."""
    chosen = PitSettings(min_contrast=0.2)
    stated = with_stated(chosen, "pits", tmp_path / "a.png", min_contrast=None, max_aspect=6.0)
    assert (stated.min_contrast, stated.max_aspect) == (0.2, 6.0)
    with pytest.raises(InputError, match=r"--slenderness: .*See `surfscan pits --help`"):
        with_stated(chosen, "pits", tmp_path / "a.png", options={"max_aspect": "slenderness"}, max_aspect=0.1)
