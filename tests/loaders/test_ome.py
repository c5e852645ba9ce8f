import pytest

from surfscan.loaders.ome import is_ome, read_ome, speaks_of_brightness

NAMESPACE = "http://www.openmicroscopy.org/Schemas/OME/2016-06"


def ome(*images):
    return f'<?xml version="1.0" encoding="UTF-8"?><OME xmlns="{NAMESPACE}">{"".join(images)}</OME>'


def image(pixels="", inside="", name="field", description=""):
    return f'<Image ID="Image:0" Name="{name}">{description}<Pixels {pixels}>{inside}</Pixels></Image>'


def test_told_from_other_descriptions():
    assert is_ome(ome()) and is_ome('<ome:OME xmlns:ome="x">')
    assert not is_ome("OME is mentioned") and not is_ome('{"shape": [4, 4]}')


def test_size_and_default_unit():
    tag = read_ome(ome(image('PhysicalSizeX="0.5" PhysicalSizeY="300" PhysicalSizeYUnit="nm"')), 0).scale_tag
    assert (tag.x, tag.x_unit, tag.y, tag.y_unit) == (0.5, "µm", 300, "nm")


def test_no_size_no_tag():
    assert read_ome(ome(image()), 0).scale_tag is None
    assert read_ome(ome(), 0).scale_tag is None


def test_one_direction_lends_its_unit():
    tag = read_ome(ome(image('PhysicalSizeY="300" PhysicalSizeYUnit="nm"')), 0).scale_tag
    assert (tag.x, tag.x_unit, tag.y, tag.y_unit) == (None, "nm", 300, "nm")


def test_a_size_that_is_no_number_is_kept_for_judging():
    tag = read_ome(ome(image('PhysicalSizeX="wide" PhysicalSizeY="1"')), 0).scale_tag
    assert tag.x != tag.x


def test_page_finds_its_image():
    xml = ome(
        image('PhysicalSizeX="1" PhysicalSizeY="1"', '<TiffData IFD="0" PlaneCount="2"/>'),
        image('PhysicalSizeX="4" PhysicalSizeY="4"', '<TiffData IFD="2"/>'),
    )
    assert [read_ome(xml, page).scale_tag.x for page in range(3)] == [1, 1, 4]


def test_images_that_disagree_give_no_scale_and_a_warning():
    facts = read_ome(ome(image('PhysicalSizeX="1"'), image('PhysicalSizeX="4"')), 0)
    assert facts.scale_tag is None
    assert "does not tell" in facts.warnings[0]
    same = read_ome(ome(image('PhysicalSizeX="4"'), image('PhysicalSizeX="4"')), 0)
    assert (same.scale_tag.x, same.warnings) == (4, ())


@pytest.mark.parametrize(("xml", "reason"), [
    (ome(image())[:-9], "cannot be read"),
    ('<!DOCTYPE x [<!ENTITY a "aaaa">]><OME>&a;</OME>', "cannot be read"),
])  # fmt: skip
def test_damaged_or_dangerous_xml_is_a_warning(xml, reason):
    facts = read_ome(xml, 0)
    assert facts.scale_tag is None and not facts.is_brightness
    assert reason in facts.warnings[0]


@pytest.mark.parametrize(("pixels_inside", "brightness"), [
    ('<Channel ID="Channel:0:0"/>', False),
    ('<Channel ID="Channel:0:0" Name="Intensity"/>', True),
    ('<Channel ID="Channel:0:0" Name="Height"/>', False),
    ('<Channel ID="Channel:0:0" IlluminationType="Epifluorescence"/>', True),
    ('<Channel ID="Channel:0:0" ContrastMethod="Brightfield"/>', True),
])  # fmt: skip
def test_brightness_from_channels(pixels_inside, brightness):
    assert read_ome(ome(image("", pixels_inside)), 0).is_brightness is brightness


def test_brightness_from_description():
    assert read_ome(ome(image(description="<Description>grey level</Description>")), 0).is_brightness


@pytest.mark.parametrize(("text", "answer"), [
    ("Reflectance image", True),
    ("gray-scale", True),
    ("topography and intensity", False),
    ("intense work", False),
    ("", False),
])  # fmt: skip
def test_words_for_brightness(text, answer):
    assert speaks_of_brightness(text) is answer
