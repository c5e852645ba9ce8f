"""What the manifest promises is there: commands, menus, readers, samples, and every panel opens."""

from importlib import import_module
from pathlib import Path

import napari_surfscan
import numpy as np
import pytest
from napari._app_model.constants import MenuId
from npe2 import PluginManager, PluginManifest

MANIFEST = PluginManifest.from_file(Path(napari_surfscan.__file__).with_name("napari.yaml"))
PARTS = MANIFEST.contributions
COMMANDS = [command.id for command in PARTS.commands]
WIDGETS = [widget.display_name for widget in PARTS.widgets]
PANELS = ["Study", "Pits and masks", "Scale", "Strut", "Depth along a line"]
KEYS = {"commands", "readers", "sample_data", "widgets", "menus"}


def _object(command_id):
    command = next(c for c in PARTS.commands if c.id == command_id)
    module, _, name = command.python_name.partition(":")
    return getattr(import_module(module), name)


def test_manifest_is_found_by_its_entry_point():
    """napari finds the plugin in an installation, by the same manifest."""
    manager = PluginManager()
    manager.discover()
    assert manager.get_manifest("surfscan").contributions == PARTS


def test_manifest_holds_only_what_napari_knows():
    """A key with a slip in it would be passed over silently."""
    import yaml

    path = Path(napari_surfscan.__file__).with_name("napari.yaml")
    assert set(yaml.safe_load(path.read_text(encoding="utf-8"))["contributions"]) == KEYS


@pytest.mark.parametrize("command_id", COMMANDS)
def test_every_command_exists(command_id):
    """Each command leads to something that can be called."""
    assert callable(_object(command_id))


def test_command_ids_are_unique_and_used():
    """No command stands twice, and none is orphaned."""
    assert len(set(COMMANDS)) == len(COMMANDS)
    used = {c.command for c in (*PARTS.readers, *PARTS.sample_data, *PARTS.widgets)}
    assert used == set(COMMANDS)


def test_every_menu_exists_and_leads_to_a_command():
    """Each menu is one of napari's, each entry one of our commands, and every panel is in one."""
    known = {menu.value for menu in MenuId}
    listed = set()
    for menu, entries in PARTS.menus.items():
        assert menu in known
        listed |= {entry.command for entry in entries}
    assert listed <= set(COMMANDS)
    assert {widget.command for widget in PARTS.widgets} <= listed


def test_every_panel_is_offered():
    """The five panels, each once."""
    assert sorted(WIDGETS) == sorted(PANELS)


@pytest.mark.slow
@pytest.mark.parametrize("name", WIDGETS)
def test_every_widget_opens_from_the_manifest(real_viewer, qtbot, name):
    """Each panel opens in a real viewer by name, says what to do while nothing is open, and is narrow."""
    from qtpy.QtWidgets import QLabel

    dock, panel = real_viewer.window.add_plugin_dock_widget("surfscan", name)
    qtbot.waitUntil(dock.isVisible)
    assert type(panel).__name__ == _object(_command_of(name)).__name__
    said = " ".join(label.text() for label in panel.findChildren(QLabel) if label.isVisible())
    assert len(said) > 20, "nothing says what to do"
    assert dock.minimumSizeHint().width() <= 380


def _command_of(name):
    return next(widget.command for widget in PARTS.widgets if widget.display_name == name)


@pytest.mark.slow
@pytest.mark.parametrize("sample", [s.key for s in PARTS.sample_data])
def test_every_sample_opens(real_viewer, sample):
    """Each sample brings one image at physical scale."""
    (layer,) = real_viewer.open_sample("surfscan", sample)
    assert [str(unit) for unit in layer.units] == ["micrometer", "micrometer"]
    assert np.nanstd(np.asarray(layer.data)) > 0


@pytest.mark.slow
def test_dropped_image_is_read_by_us(real_viewer, demo_folder):
    """napari picks our reader by the manifest, and its own scale bar knows the units."""
    path = demo_folder / "heights" / "U28-1_h1.x3p"
    (layer,) = real_viewer.open(str(path), plugin="surfscan")
    assert "surfscan" in layer.metadata
    assert layer.colormap.name == "cividis"


def test_study_folder_is_offered_to_us(demo_folder):
    """A dropped folder, and a study.toml, come to our reader."""
    manager = PluginManager()
    manager.discover()
    for path in (demo_folder, demo_folder / "study.toml", demo_folder / "images" / "S00-1_a.png"):
        assert "surfscan" in {
            reader.command.split(".")[0] for reader in manager.iter_compatible_readers([str(path)])
        }
