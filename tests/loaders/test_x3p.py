import hashlib
import io
import time
import tracemalloc
import zipfile

import numpy as np
import pytest

from surfscan import open_image
from surfscan.errors import InputError
from surfscan.loaders import load

SIX = np.array([[1.0, 2, 3], [4, 5, 6]])


@pytest.fixture
def plain(x3p_record, linked):
    """Record and members of a small surface."""

    def build(**parts):
        link, members = linked(SIX.tobytes())
        return x3p_record(points=link, **parts), members

    return build


def test_a_surface(pack_x3p, plain):
    image = load(pack_x3p(*plain()))
    np.testing.assert_array_equal(image.pixels, SIX)
    assert (image.file_format, image.kind, image.height_unit, image.page) == ("X3P", "heightmap", "m", None)
    assert str(image.scale_tags[0]) == "X3P increment 1e-06 x 1e-06 m" and image.warnings == ()


def test_opened_in_micrometres_and_never_as_a_micrograph(pack_x3p, x3p_record, linked):
    heights = np.arange(400.0).reshape(20, 20) * 1e-9
    link, members = linked(heights.tobytes())
    size = "<MatrixDimension><SizeX>20</SizeX><SizeY>20</SizeY><SizeZ>1</SizeZ></MatrixDimension>"
    path = pack_x3p(x3p_record(points=link, size=size), members)
    image = open_image(path)
    np.testing.assert_array_equal(image.heights_um, heights * 1e6)
    assert (image.calibration.pixel_size_x_um, image.warnings) == (1.0, ())
    with pytest.raises(InputError, match=r"the X3P file states heights in m: it is no micrograph"):
        open_image(path, kind="micrograph")


@pytest.mark.parametrize("folder", ["", "inner/", "one/two/"])
def test_the_record_may_be_in_a_folder(pack_x3p, plain, folder):
    record, members = plain()
    np.testing.assert_array_equal(load(pack_x3p(record, members, folder=folder)).pixels, SIX)


def test_a_link_from_the_top_and_with_backslashes(pack_x3p, plain):
    record, members = plain()
    turned = record.replace("bindata/data.bin", "inner\\bindata\\data.bin")
    np.testing.assert_array_equal(load(pack_x3p(turned, members, folder="inner/")).pixels, SIX)


def test_the_record_at_the_top_comes_first(pack_x3p, plain):
    record, members = plain()
    path = pack_x3p(record, members | {"__MACOSX/main.xml": b"?"})
    np.testing.assert_array_equal(load(path).pixels, SIX)
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("a/main.xml", b"1")
        file.writestr("b/main.xml", b"2")
    with pytest.raises(InputError, match=r"several records \(a/main\.xml, b/main\.xml\)"):
        load(path)


@pytest.mark.parametrize(("checksum", "warning"), [
    ("0" * 32, "The MD5 checksum of main.xml is"),
    ("", "checksum file md5checksum.hex is missing"),
    ("nonsense", "no checksum in md5checksum.hex"),
])  # fmt: skip
def test_the_checksum_of_the_record_is_a_warning(pack_x3p, plain, checksum, warning):
    image = load(pack_x3p(*plain(), checksum=checksum))
    assert image.warnings[0].startswith("The") and warning in " ".join(image.warnings)
    np.testing.assert_array_equal(image.pixels, SIX)


@pytest.mark.parametrize("style", ["{}", "{} *main.xml\n", "{}  main.xml\r\n", "\n {}"])
def test_styles_of_checksum_files(pack_x3p, plain, style):
    record, members = plain()
    digest = hashlib.md5(record.encode()).hexdigest()
    for stated in (digest, digest.upper()):
        assert load(pack_x3p(record, members, checksum=style.format(stated))).warnings == ()


def test_layers_are_pages(pack_x3p, x3p_record, linked):
    layers = np.arange(18.0).reshape(3, 2, 3)
    mask = np.ones(24, bool)
    mask[[6, 13]] = False
    link, members = linked(layers.tobytes(), np.packbits(mask, bitorder="little").tobytes())
    size = "<MatrixDimension><SizeX>3</SizeX><SizeY>2</SizeY><SizeZ>3</SizeZ></MatrixDimension>"
    path = pack_x3p(x3p_record(points=link, size=size), members)
    for page in range(3):
        image = load(path, page)
        expected = np.where(mask[:18].reshape(3, 2, 3), layers, np.nan)[page]
        np.testing.assert_array_equal(image.pixels, expected)
        assert image.page == page
    with pytest.raises(InputError, match=r"3 layers of 2 x 3 points, and surfscan does not guess"):
        load(path)
    with pytest.raises(InputError, match="no layer 3: the last one is 2"):
        load(path, 3)


def test_one_layer_has_no_other_page(pack_x3p, plain):
    path = pack_x3p(*plain())
    assert load(path, 0).page is None
    with pytest.raises(InputError, match="no page 1"):
        load(path, 1)


def test_points_in_a_list(pack_x3p, x3p_record):
    axis = x3p_record.axis
    data = [f"{c * 2}e-6;{r * 3}e-6;{SIX[r, c]}" for c in (2, 0, 1) for r in (1, 0)]
    text = "".join(f"<Datum>{d}</Datum>" for d in data) + "<Datum/>"
    parts = {
        "feature": "PCL",
        "size": "<ListDimension>7</ListDimension>",
        "points": f"<DataList>{text}</DataList>",
        "x": axis("A", "D", "1"),
        "y": axis("A", "D", "1"),
        "z": axis("A", "D", "1"),
    }
    image = load(pack_x3p(x3p_record(**parts)))
    np.testing.assert_array_equal(image.pixels, SIX)
    assert (image.scale_tags[0].x, image.scale_tags[0].y) == pytest.approx((2e-6, 3e-6), rel=1e-9)
    with pytest.raises(InputError, match="a profile"):
        load(pack_x3p(x3p_record(**parts | {"y": axis()})))
    scattered = "".join(f"<Datum>{i**1.5};{i**1.3};0</Datum>" for i in range(50))
    parts |= {"points": f"<DataList>{scattered}</DataList>", "size": "<ListDimension>50</ListDimension>"}
    with pytest.raises(InputError, match=r"list of points: .*no regular grid"):
        load(pack_x3p(x3p_record(**parts)))
    parts["points"] = f"<DataList>{'<Datum/>' * 50}</DataList>"
    with pytest.raises(InputError, match="no point of the list has coordinates"):
        load(pack_x3p(x3p_record(**parts)))


def test_profiles_are_refused(pack_x3p, plain):
    record, members = plain(feature="PRF")
    assert "calls itself a profile" in load(pack_x3p(record, members)).warnings[0]
    record = record.replace("<SizeX>3", "<SizeX>6").replace("<SizeY>2", "<SizeY>1")
    with pytest.raises(InputError, match="a line of heights and not a surface"):
        load(pack_x3p(record, members))


def test_a_rotation_is_told(pack_x3p, plain):
    image = load(pack_x3p(*plain(extra="<Rotation><r11>-1</r11></Rotation>")))
    assert "unrotated" in image.warnings[0]


def test_an_increment_left_out_is_no_scale(pack_x3p, plain, x3p_record):
    image = open_image(pack_x3p(*plain(x=x3p_record.axis("I", "D", None), y=x3p_record.axis("I", "D", None))))
    assert image.calibration is None and "No usable scale" in " ".join(image.warnings)


@pytest.mark.parametrize(("link", "fault"), [
    ("/etc/passwd", "points outside"), ("../data.bin", "points outside"), ("..\\data.bin", "points outside"),
    ("C:\\data.bin", "points outside"), ("file:data.bin", "points outside"), ("http://x/y", "points outside"),
    ("bindata/other.bin", "the points that the record links to, 'bindata/other.bin', are not in"),
    ("", "the points that the record links to"),
])  # fmt: skip
def test_links_that_lead_nowhere(pack_x3p, plain, link, fault):
    record, members = plain()
    with pytest.raises(InputError, match=fault):
        load(pack_x3p(record.replace("bindata/data.bin", link), members))


def test_another_zip_archive(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as file:
        file.writestr("hello.txt", "hello")
    with pytest.raises(InputError, match=r"zip archive without main\.xml"):
        load(tmp_path / "a.zip")
    (tmp_path / "b.zip").write_bytes(b"PK\5\6" + bytes(18))
    with pytest.raises(InputError, match=r"zip archive without main\.xml"):
        load(tmp_path / "b.zip")


@pytest.mark.parametrize(("cols", "rows", "fault"), [
    (10**6, 10**6, "gigapixels"),
    (10**17, 10**17, "gigapixels"),
    (30_000, 30_000, "holds 48 bytes"),
    (0, 2, "empty"),
    (3, 2, None),
])  # fmt: skip
def test_sizes_that_lie_cost_nothing(pack_x3p, plain, cols, rows, fault):
    record, members = plain()
    record = record.replace("<SizeX>3", f"<SizeX>{cols}").replace("<SizeY>2", f"<SizeY>{rows}")
    path = pack_x3p(record, members)
    load(pack_x3p(*plain(), name="first.x3p"))  # whatever is imported on first use
    start = time.process_time()
    tracemalloc.start()
    try:
        if fault:
            with pytest.raises(InputError, match=fault):
                load(path)
        else:
            load(path)
        assert tracemalloc.get_traced_memory()[1] < 4e6
    finally:
        tracemalloc.stop()
    assert time.process_time() - start < 1


@pytest.mark.parametrize(
    "size", ["<ListDimension>99999999999</ListDimension>", "<ListDimension>0</ListDimension>"]
)
def test_list_lengths_that_lie(pack_x3p, plain, x3p_record, size):
    axis = x3p_record.axis("A", "D", "1")
    with pytest.raises(InputError, match=r"gigapixels|empty"):
        load(pack_x3p(*plain(size=size, x=axis, y=axis)))


def test_layers_that_lie(pack_x3p, plain):
    record, members = plain()
    path = pack_x3p(record.replace("<SizeZ>1", "<SizeZ>999999999999999"), members)
    with pytest.raises(InputError, match="holds 48 bytes"):
        load(path, 7)


def test_a_record_too_long(pack_x3p, plain):
    record, members = plain()
    noise = np.random.default_rng(0).bytes(2**23).hex()
    with pytest.raises(InputError, match=r"main\.xml has \d+ bytes, above the limit"):
        load(pack_x3p(record + noise, members))
    with pytest.raises(InputError, match=r"main\.xml would grow from \S+ MB to 4\.\d+ MB"):
        load(pack_x3p(record + " " * 2**22, members))


def test_a_consistent_zip_bomb(pack_x3p, x3p_record, linked):
    """Record and archive agree on 269 MB of zeros in 0.26 MB."""
    squashed = io.BytesIO()
    with (
        zipfile.ZipFile(squashed, "w", zipfile.ZIP_DEFLATED) as file,
        file.open("bindata/data.bin", "w") as member,
    ):
        for _ in range(257):
            member.write(bytes(2**20))
    link, _ = linked(b"")
    size = "<MatrixDimension><SizeX>8192</SizeX><SizeY>4112</SizeY></MatrixDimension>"
    path = pack_x3p(x3p_record(points=link, size=size))
    with zipfile.ZipFile(squashed, "a") as file, zipfile.ZipFile(path) as small:
        file.writestr("main.xml", small.read("main.xml"))
    path.write_bytes(squashed.getvalue())
    start = time.process_time()
    with pytest.raises(InputError, match="would grow from"):
        load(path)
    assert time.process_time() - start < 1
