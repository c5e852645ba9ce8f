"""The demo's pictures of struts: as wide as their specimen's loss leaves them, and true as stated."""

from pathlib import Path

import cv2
import make_demo
import numpy as np
import pytest
import struts
from specimens import UNCOATED, Specimen, specimens

from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.opening import open_image
from surfscan.procedures import measure_struts
from surfscan.procedures.settings import StrutSettings

HERE = Path(make_demo.__file__).parent / "struts"
PICTURES = {name: picture for picture, name in make_demo.strut_pictures()}
FIGURES = {name: struts.paint(picture)[1] for name, picture in PICTURES.items()}
SINGLE = [name for name, picture in PICTURES.items() if picture.layout == "strut"]


def silhouette(name: str, picture: struts.StrutPicture) -> np.ndarray:
    """Pixels of a stored picture that are metal, by one level for the whole of it."""
    grey = cv2.GaussianBlur(cv2.imread(str(HERE / name), cv2.IMREAD_GRAYSCALE), (3, 3), 0)
    level, _ = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return grey > level if picture.reflected else grey < level


@pytest.mark.parametrize(
    "name", ["U28-3_strut.jpg", "C28-1_strut.jpg", "U14-2_crossing.jpg", "U28-2_mesh.jpg"]
)
def test_script_gives_the_stored_picture(name):
    """Other processors round the last bit otherwise, and JPEG makes a few grey levels of it."""
    made = cv2.imdecode(
        np.frombuffer(make_demo.encode_small(struts.paint(PICTURES[name])[0]), np.uint8), cv2.IMREAD_GRAYSCALE
    )
    stored = cv2.imread(str(HERE / name), cv2.IMREAD_GRAYSCALE)
    difference = np.abs(made.astype(int) - stored)
    assert difference.max() <= 8 and np.mean(difference > 0) < 0.01


def test_same_run_gives_the_same_bytes(tmp_path):
    for name in ("U14-3_strut.jpg", "U28-1_strut.jpg"):
        for folder in (tmp_path / "a", tmp_path / "b"):
            folder.mkdir(exist_ok=True)
            make_demo.write_struts(folder, name, PICTURES[name])
    made = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert made == ["U14-3_side.jpg", "U14-3_strut.jpg", "U28-1_stage.x3p", "U28-1_strut.jpg"]
    for name in made:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


@pytest.mark.parametrize("name", ["U28-3_strut.jpg", "C28-2_strut.jpg", "S28-2_strut.jpg", "U00-2_strut.jpg"])
def test_true_width_agrees_with_the_area_of_the_silhouette(name):
    """Metal pixels whose nearest point of the centreline lies in the middle third, over its length."""
    picture = PICTURES[name]
    (strut,), _ = struts.part_of(picture)
    at = struts._placement(picture)(strut.line)
    inside = np.flatnonzero(((at > 0) & (at < np.array(picture.shape) - 1)).all(axis=1))
    first, last = inside[0] + len(inside) // 3, inside[-1] - len(inside) // 3
    pixels = np.argwhere(silhouette(name, picture))
    points = np.arange(0, len(at), 4)
    nearest = points[np.argmin(((pixels[:, None] - at[None, points]) ** 2).sum(axis=2), axis=1)]
    area_um2 = np.count_nonzero((nearest >= first) & (nearest < last)) * picture.pixel_size_um**2
    width_um = area_um2 / (np.count_nonzero((points >= first) & (points < last)) * 4 * struts.STEP_UM)
    assert width_um == pytest.approx(strut.width_um[first:last].mean(), abs=0.5 * picture.pixel_size_um)


def test_width_follows_the_loss():
    """Each picture's mean width is the drawn width less twice the loss, to the unevenness of the place."""
    for name, picture in PICTURES.items():
        loss = picture.specimen.loss_um
        expected = struts.WIDTH_UM - 2 * loss
        assert FIGURES[name]["mean_width_um"] == pytest.approx(expected, abs=1 + 0.25 * loss)
    worst = {s.id: s.loss_um for s in specimens()}
    single = sorted(SINGLE, key=lambda name: worst[name[:5]])
    widths = [FIGURES[name]["mean_width_um"] for name in single]
    assert np.corrcoef([worst[name[:5]] for name in single], widths)[0, 1] < -0.99


def test_attack_is_uneven_where_the_metal_corrodes_and_not_on_the_reference():
    def spread(name: str) -> float:
        (strut,), _ = struts.part_of(PICTURES[name])
        return float(strut.width_um.std())

    assert spread("S28-1_strut.jpg") < 1.5
    assert spread("U14-1_strut.jpg") > 4
    assert spread("U28-3_strut.jpg") > 10


def test_true_figures_are_possible():
    for name, figures in FIGURES.items():
        exact = "before" not in make_demo.strut_companions(PICTURES[name])  # else over places seen on both
        loss = 1 - figures["mean_width_um"] / struts.WIDTH_UM
        assert figures["loss_fraction"] == pytest.approx(loss, abs=1e-9 if exact else 0.01)
        if PICTURES[name].layout == "mesh":
            assert set(figures) == {"mean_width_um", "loss_fraction"}
            continue
        assert 60 < figures["min_width_um"] <= figures["mean_width_um"] < 401
        lost = struts.WIDTH_UM - figures["min_width_um"]
        left = (struts.WIDTH_UM - lost) * (struts.THICKNESS_UM - lost)
        share = left / (struts.WIDTH_UM * struts.THICKNESS_UM)
        assert figures["least_section_equal_loss_fraction"] == pytest.approx(share)


@pytest.mark.parametrize("name", ["U14-2_crossing.jpg", "U28-2_mesh.jpg"])
def test_part_before_exposure_holds_the_one_after(name):
    """In its own place, every edge lies as drawn, and the metal after lies within that before."""
    picture = PICTURES[name]
    before = make_demo.replace(picture, unexposed=True)
    assert struts.paint(before)[1]["mean_width_um"] == pytest.approx(struts.WIDTH_UM, abs=0.5)
    place = struts._placement(picture)
    shares = []
    for part in (picture, before):
        own, nodes = struts.part_of(part)
        shares.append(struts.coverage([place(p) for p in [*(s.outline() for s in own), *nodes]], part.shape))
    assert np.mean(shares[0] > shares[1] + 0.05) < 1e-3
    assert shares[0].sum() < 0.9 * shares[1].sum()


def test_mesh_lost_a_strut_and_broke_another():
    """In one and the same place, each of two pairs of cells before is one cell after."""
    after = PICTURES["U28-2_mesh.jpg"]
    place, cells = struts._placement(after), []
    for part in (make_demo.replace(after, unexposed=True), after):
        own, nodes = struts.part_of(part)
        share = struts.coverage([place(p) for p in [*(s.outline() for s in own), *nodes]], part.shape)
        cells.append(cv2.connectedComponents((share < 0.5).astype(np.uint8), connectivity=4)[1])
    numbers, first = np.unique(cells[0], return_index=True)
    lies_in = cells[1].ravel()[first[numbers > 0]]
    assert (lies_in > 0).all()
    assert sorted(np.unique(lies_in, return_counts=True)[1])[-3:] == [1, 2, 2]


def test_nodes_are_closed_outlines_that_the_struts_fit_on():
    """Area of a node in closed form: a square of both widths, four arms to the fillets, four fillets."""
    picture = PICTURES["U14-2_crossing.jpg"]
    x, y = struts._node(picture).T
    area = 0.5 * abs(float(x @ np.roll(y, 1) - y @ np.roll(x, 1)))
    half, r = struts.WIDTH_UM / 2 - picture.loss_um, struts.FILLET_UM + picture.loss_um
    assert area == pytest.approx(4 * half**2 + 8 * half * r + 4 * (1 - np.pi / 4) * r**2, rel=2e-3)
    for strut in struts.part_of(picture)[0]:
        assert strut.left[0] == pytest.approx(half) and strut.right[0] == pytest.approx(half)


def test_strut_on_the_stage_is_as_thick_as_the_loss_leaves_it():
    """Median over the middle of the strut less that of the stage on either side, tilt taken off."""
    opened = open_image(HERE / "U28-1_stage.x3p")
    assert isinstance(opened, HeightMap)
    z = opened.heights_um
    assert z.shape == make_demo.STAGE_SHAPE and 0.02 < np.isnan(z).mean() < 0.15
    middle, stage = z[40:56], np.concatenate([z[:14], z[-14:]])
    thickness = np.nanmean(middle) - np.nanmean(stage)
    loss = PICTURES["U28-1_strut.jpg"].specimen.loss_um
    assert thickness == pytest.approx(struts.THICKNESS_UM - 2 * loss, abs=0.7)
    assert opened.calibration.pixel_size_x_um == pytest.approx(make_demo.STAGE_PIXEL_UM)


@pytest.mark.parametrize("name", ["U28-1_strut.jpg", "C28-1_strut.jpg", "S28-2_strut.jpg"])
def test_measured_width_is_the_true_one(name):
    """Backlit and reflected, with product beside the metal: the mean to 0.3 px, the least to 1.5 px."""
    pixel_um, figures = PICTURES[name].pixel_size_um, FIGURES[name]
    settings = StrutSettings(drawn_width_um=struts.WIDTH_UM, drawn_thickness_um=struts.THICKNESS_UM)
    summary = measure_struts(open_image(HERE / name, pixel_size_um=pixel_um), settings).summary
    assert summary["mean_width_um"] == pytest.approx(figures["mean_width_um"], abs=0.3 * pixel_um)
    assert summary["min_width_um"] == pytest.approx(figures["min_width_um"], abs=1.5 * pixel_um)
    assert summary["loss_fraction"] == pytest.approx(figures["loss_fraction"], abs=0.005)


def test_intervals_of_the_loss_hold_the_truth():
    """Three painted crossings, turned and shifted between the pictures; each row can be recomputed."""
    settings = StrutSettings(before_max_rotation_deg=20, before_max_shift_fraction=0.1)
    scale = Calibration(4.0, 4.0, 0.005, "stated")
    errors, held = [], 0
    for k in range(3):
        specimen = Specimen(f"X{k}", UNCOATED, 14, 0.9)
        picture = struts.StrutPicture(specimen, "crossing", (360, 400), 4.0)
        grey, truth = struts.paint(picture)
        grey_before, _ = struts.paint(make_demo.replace(picture, unexposed=True))
        before = Micrograph(grey_before, scale, Source("before.png"))
        result = measure_struts(Micrograph(grey, scale, Source("after.png")), settings, before=before)
        low, high = result.summary["loss_fraction_ci95"]
        held += low <= truth["loss_fraction"] <= high
        errors.append(result.summary["loss_fraction"] - truth["loss_fraction"])
        rows = result.tables["struts"]
        left = rows["compared_width_um"] / rows["reference_width_um"]
        assert rows["loss_fraction"] == pytest.approx(1 - left, rel=1e-12, nan_ok=True)
        compared = np.nansum(rows["compared_length_um"])
        assert compared > 0.8 * np.sum(rows["counted_length_um"])
    assert held == 3
    assert np.sqrt(np.mean(np.square(errors))) < 0.0007
