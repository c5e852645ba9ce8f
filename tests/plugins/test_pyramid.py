"""Large images on the screen: levels from the file, or made for looking."""

import numpy as np
import pytest
import tifffile
from napari_surfscan import pyramid
from napari_surfscan.pyramid import early_layer, fill, levels_of, stand_in

from surfscan.images import HeightMap, Micrograph

GREY = np.random.default_rng(0).integers(0, 256, (2048, 2304), np.uint8)


@pytest.fixture(autouse=True)
def _sooner(monkeypatch):
    """Images count as large from four million pixels on, so that tests stay quick."""
    monkeypatch.setattr(pyramid, "LARGE_PX", 2**22)


def test_tiles_without_levels_are_shown_and_filled_later(tmp_path):
    """The full resolution is there at once, the coarse ones when the file is decoded."""
    path = tmp_path / "tiled.tif"
    tifffile.imwrite(path, GREY, tile=(256, 256), resolution=(20000, 20000), resolutionunit="CENTIMETER")
    levels, calibration, kind = early_layer(path)
    assert [level.shape for level in levels] == [(2048, 2304), (1024, 1152), (512, 576)]
    assert calibration.pixel_size_x_um == pytest.approx(0.5)
    assert kind == "micrograph"
    np.testing.assert_array_equal(levels[0][500:600, 700:800], GREY[500:600, 700:800])
    assert not levels[1].any()
    fill(levels, GREY)
    assert levels[2].mean() == pytest.approx(GREY.mean(), abs=1)
    assert isinstance(stand_in(path, levels, calibration, kind), Micrograph)
    assert isinstance(stand_in(path, levels, calibration, "heightmap"), HeightMap)


def test_small_and_plain_files_are_decoded_whole(tmp_path):
    """No levels for what is quick to read, or can only be read whole."""
    tifffile.imwrite(tmp_path / "small.tif", GREY[:512, :512], tile=(256, 256))
    tifffile.imwrite(tmp_path / "strips.tif", GREY)
    assert early_layer(tmp_path / "small.tif") is None
    assert early_layer(tmp_path / "strips.tif") is None


def test_levels_made_for_looking():
    """Means for pictures; heights keep their gaps to themselves."""
    assert levels_of(GREY[:100]) is None
    assert [level.shape for level in levels_of(GREY)] == [(2048, 2304), (1024, 1152), (512, 576)]
    heights = GREY.astype(np.float32)
    heights[:, 1000] = np.nan
    assert np.isnan(levels_of(heights)[-1]).mean() < 0.01


@pytest.mark.slow
def test_real_viewer_decodes_only_what_it_shows(real_viewer, qtbot, tmp_path, monkeypatch):
    """A pyramid opened in the viewer: the coarse level is drawn, hardly a tile of the fine one is decoded."""
    from napari_surfscan.session import ReviewSession

    from surfscan.loaders.tiff_levels import TiledLevel

    monkeypatch.setattr(ReviewSession, "_decode", lambda *_: None)  # what follows once it is on the screen
    path = tmp_path / "pyramid.tif"
    with tifffile.TiffWriter(path) as file:
        for level in range(3):
            step = 2**level
            file.write(
                np.repeat(np.repeat(GREY[::step, ::step] // 2, 2, 0), 2, 1)[: 4096 // step, : 4608 // step],
                tile=(128, 128),
                subfiletype=int(level > 0),
                subifds=None,
            )
    decoded = []
    real = TiledLevel.decode

    def decode(level, index, file):
        decoded.append(level.shape)
        return real(level, index, file)

    monkeypatch.setattr(TiledLevel, "decode", decode)
    (layer,) = real_viewer.open(str(path), plugin="surfscan")
    qtbot.wait(300)
    assert layer.multiscale
    assert [level.shape for level in layer.data] == [(4096, 4608), (2048, 2304), (1024, 1152)]
    shown = real_viewer.screenshot(canvas_only=True, flash=False)[..., :3]
    assert shown.std() > 10, "the canvas is blank"
    assert decoded.count((4096, 4608)) < 32 * 36 / 4
