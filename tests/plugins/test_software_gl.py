"""A viewer drawn in software outlives the removal of layers."""

import numpy as np
import pytest
from napari_surfscan.session import session_of
from napari_surfscan.software_gl import is_in_software, keep_programs


def test_names_of_software():
    """Mesa's names are known in any spelling; graphics hardware is left alone."""
    assert is_in_software("llvmpipe (LLVM 15.0.6, 256 bits)")
    assert is_in_software("softpipe")
    assert not is_in_software("Some Graphics Card/PCIe/SSE2")


def test_asking_twice_changes_nothing():
    """The change is made once a process."""
    from vispy.gloo.glir import GlirProgram

    keep_programs()
    first = GlirProgram.delete
    keep_programs()
    assert GlirProgram.delete is first


@pytest.mark.slow
def test_layers_come_and_go_over_many_images(real_viewer, qtbot):
    """What ended the process before: labels removed and others added, with drawings between."""
    session_of(real_viewer)
    for k in range(5):
        layers = [real_viewer.add_image(np.full((60, 80 + k), k, np.uint8))]
        layers += [real_viewer.add_labels(np.full((60, 80 + k), j, np.uint8)) for j in range(3)]
        layers.append(real_viewer.add_points([(5, 5)], text=["?"]))
        qtbot.wait(30)
        for layer in layers[1:]:
            real_viewer.layers.remove(layer)
        qtbot.wait(10)
        real_viewer.layers.clear()
    assert len(real_viewer.layers) == 0
