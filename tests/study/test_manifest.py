"""`study.toml`: what it says, and every fault of it with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.study.manifest import load_study

SOUND = """\
title = "T"
[[material]]
name = "Mg-2Zn"
density_g_per_cm3 = 1.76
source = "invented"
[[group]]
name = "as received"
[[group]]
name = "7 d"
baseline = "as received"
[[specimen]]
id = "U07-1"
group = "7 d"
exposure_h = 168
material = "Mg-2Zn"
[[image]]
file = 'images\\a.png'
specimen = "U07-1"
pixel_size_um = 0.5
[[image]]
file = "./b.tif"
specimen = "U07-1"
shows = "surface"
procedures = ["pits"]
pixel_size_um = [0.5, 0.25]
condition = "cleaned"
cleaning = "chromic acid, 1 min"
field_choice = "worst_seen"
page = 2
region = "masks/b.png"
[settings.pits]
min_contrast = 0.1
"""


def _write(folder: Path, text: str) -> Path:
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


def _faults(folder: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        load_study(_write(folder, text))
    return str(caught.value)


def test_reads_what_is_stated(tmp_path: Path) -> None:
    study = load_study(_write(tmp_path, SOUND))
    assert study == load_study(tmp_path / "study.toml")
    assert (study.title, study.note, study.folder) == ("T", "", tmp_path)
    assert study.group("7 d").baseline == "as received"
    assert study.specimen("U07-1").exposure_h == 168.0
    assert study.materials[0].density_g_per_cm3 == 1.76
    assert study.settings.pits.min_contrast == 0.1 and study.settings.of("degraded").classes == 2
    first, second = study.images_of("U07-1")
    assert first.image_id == "images/a.png" and first.pixel_size_um == (0.5, 0.5)
    assert first.procedures == ("pits", "degraded")
    assert (first.condition, first.field_choice) == ("not_stated", "not_stated")
    assert second.image_id == "b.tif#2" and second.pixel_size_um == (0.5, 0.25)
    with pytest.raises(KeyError):
        study.specimen("none")


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(SOUND, encoding="utf-8-sig")
    assert load_study(tmp_path).title == "T"


HEIGHTS = """\
[[image]]
file = "h.x3p"
specimen = "U07-1"
shows = "heights"
"""


PART = "[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\nshows = 'strut'\n"
SPECIMEN = "[[specimen]]\nid = 'S'\ngroup = '7 d'\n"


def test_height_maps_and_what_belongs_to_them(tmp_path: Path) -> None:
    added = 'height_unit = "nm"\ndatum = "masks\\\\d.png"\nunexposed = "before.x3p"\nregion = "r.png"\n'
    settings = "[settings.height_pits]\nmin_depth_um = 2.0\n[settings.texture]\nl_cutoff_um = 80\n"
    study = load_study(_write(tmp_path, SOUND + HEIGHTS + added + settings))
    picture, _, heights = study.images
    assert (picture.shows, picture.procedures, picture.companions()) == (None, ("pits", "degraded"), {})
    assert (heights.procedures, heights.height_unit) == (("pits", "texture"), "nm")
    assert heights.companions() == {"region": "r.png", "datum": "masks/d.png", "unexposed": "before.x3p"}
    assert study.settings.of("pits", "heights").min_depth_um == 2.0
    assert study.settings.of("pits", "surface") == study.settings.of("pits") == study.settings.pits
    assert study.settings.of("texture", "heights").l_cutoff_um == 80.0
    only = load_study(_write(tmp_path, SOUND + HEIGHTS + 'procedures = ["texture"]\n'))
    assert only.images[-1].procedures == ("texture",)


def test_all_faults_at_once_each_with_its_line(tmp_path: Path) -> None:
    text = SOUND
    for good, bad in [
        ('title = "T"', 'tittle = "T"'),
        ('baseline = "as received"', 'baseline = "as receved"'),
        ("exposure_h = 168", "exposure_h = -168"),
        ('material = "Mg-2Zn"\n', 'material = "Kryptonite"\n'),
        ("pixel_size_um = 0.5\n", 'pixel_size_um = "0.5 mm"\n'),
        ("page = 2", "page = -1"),
        ("min_contrast = 0.1", "min_contrast = 3"),
        ('cleaning = "', 'cleanning = "'),
    ]:
        assert good in text
        text = text.replace(good, bad, 1)
    said = _faults(tmp_path, text).splitlines()
    assert said[0].startswith(f"{tmp_path / 'study.toml'}: 9 faults")
    starts = [
        "study.toml:1: the study has no title. ",
        "study.toml:1: unknown key 'tittle'. Did you mean 'title'?",
        "study.toml:10: there is no group 'as receved'. Did you mean 'as received'? Else add a [[group]]",
        "study.toml:14: exposure_h = -168 cannot be used. exposure_h (h) should be greater than or equal",
        "study.toml:15: there is no material 'Kryptonite'",
        "study.toml:19: pixel_size_um = '0.5 mm' is not a bare number. Write the number without quotes, "
        "in µm: pixel_size_um = 500",
        "study.toml:27: unknown key 'cleanning'. Did you mean 'cleaning'?",
        "study.toml:29: page = -1 cannot be used",
        "study.toml:32: min_contrast = 3 cannot be used",
    ]
    listed = sorted(line.strip() for line in said[1:])
    assert len(listed) == len(starts)
    for line, start in zip(listed, sorted(starts), strict=True):
        assert line.startswith(start)
    lines = [int(line.split(":")[1]) for line in said[1:]]
    assert lines == sorted(lines)


@pytest.mark.parametrize(
    ("added", "said"),
    [
        ('[[specimen]]\nid = "U07-1"\ngroup = "7 d"\n', "specimen 'U07-1' stands twice, first at study"),
        ('[[image]]\nfile = "images/a.png"\nspecimen = "U07-1"\n', ":34: image 'images/a.png' stands twice"),
        ('[[group]]\nname = "7 d"\n', ":34: group '7 d' stands twice"),
        ('[[material]]\nname = "Mg-2Zn"\n', ":34: material 'Mg-2Zn' stands twice"),
        ('[[group]]\nname = "x"\nbaseline = "x"\n', ":35: group 'x' is its own baseline"),
        ('[[image]]\nfile = "c.png"\nspecimen = "U07"\n', ":35: there is no specimen 'U07'. Did you"),
        ('[[specimen]]\nid = "s"\ngroup = "14 d"\n', ":35: there is no group '14 d'"),
        ('[image]\nfile = "c.png"\n', "not valid TOML"),
        ("[[image]]\nspecimen = 'U07-1'\n", ":33: 'file' is missing"),
        ("[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\nprocedures = []\n", ":36: procedures = "),
        ("[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\nshows = 'height_map'\n", ":36: shows = 'height"),
        (
            HEIGHTS + 'procedures = ["pits", "degraded"]\n',
            ":37: degraded area is told by brightness, and this image shows heights. Leave 'degraded' out",
        ),
        (
            "[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\nprocedures = ['texture']\n",
            ":36: texture is measured on heights, and this image shows a surface. Leave 'texture' out of "
            'procedures, or write shows = "heights" if that is what the file holds',
        ),
        (
            "[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\ndatum = 'd.png'\n",
            ":36: datum is for images of heights, and this image shows a surface. Take datum out, or write",
        ),
        (
            "[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\nshows = 'surface'\nunexposed = 'd.x3p'\n",
            ":37: unexposed is for images of heights, and this image shows a surface. Take unexposed out",
        ),
        (
            "[[image]]\nfile = 'c.png'\nspecimen = 'U07-1'\nheight_unit = 'nm'\n",
            ":36: height_unit is for images of heights, and this image shows a surface. Take height_unit out",
        ),
        (HEIGHTS + 'height_unit = "counts"\n', ":37: height_unit = 'counts' is no unit of length. Write one"),
        (
            PART + "side_view = 's.png'\nthickness_map = 'h.x3p'\n",
            ":38: side_view and thickness_map both give the thickness. Keep the one that shows it better",
        ),
        (PART + "twin = 't.png'\n", ":37: twin is for images of a cross-section, and this image shows"),
        (PART + "cut_angle_deg = 10\n", ":37: cut_angle_deg is for images of a cross-section"),
        (
            SPECIMEN + "drawn_shape = 'ellipse'\ndrawn_top_width_um = 300\n",
            ":37: drawn_top_width_um belongs to a trapezoid, and drawn_shape is 'ellipse'. Take it out, or",
        ),
        (
            SPECIMEN + "drawn_strut_width_um = 250\ndrawn_top_width_um = 300\n",
            ":37: drawn_top_width_um = 300 is wider than drawn_strut_width_um = 250. Write the wider face",
        ),
        (SPECIMEN + "drawn_width_um = 300\n", ":36: unknown key 'drawn_width_um'. Write drawn_strut_width"),
        (SPECIMEN + "drawn_shape = 'round'\n", ":36: drawn_shape = 'round' is not known. Write one of 'rect"),
        ("broken line\n", ":33: not valid TOML"),
        ('unclosed = "', "study.toml:33: not valid TOML"),
        ("[setings.pits]\n", ":33: unknown key 'setings'. Did you mean 'settings'?"),
        ("[settings.zebra]\n", ":33: unknown key 'zebra'. Known here: pits, degraded"),
    ],
)  # fmt: skip
def test_single_faults(tmp_path: Path, added: str, said: str) -> None:
    assert said in _faults(tmp_path, SOUND + added)


def test_tables_that_are_no_tables(tmp_path: Path) -> None:
    said = _faults(tmp_path, 'title = "T"\nimage = "a.png"\nnote = 3\nspecimen = [1]\n')
    assert "study.toml:2: 'image' is not a list of tables. Head each one with [[image]]" in said
    assert "'x' in place of a table cannot be used" in _faults(tmp_path, 'title = "T"\nsettings = "x"\n')
    assert "study.toml:4: 'specimen' is not a list" in said and "study.toml:3: note is not text" in said


def test_text_that_is_not_utf8(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_bytes('title = "T"\nnote = "37 °C"\n'.encode("cp1252"))
    with pytest.raises(InputError, match=r"study\.toml:2: the text is not UTF-8"):
        load_study(tmp_path)


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "specimens.csv").write_text("id,group\ns,g\n")
    _write(tmp_path, CSV_STUDY)
    read = Path.read_bytes
    for name in ("specimens.csv", "study.toml"):

        def refuse(path: Path, name: str = name) -> bytes:
            if path.name == name:
                raise PermissionError(13, "Permission denied")
            return read(path)

        monkeypatch.setattr(Path, "read_bytes", refuse)
        with pytest.raises(InputError, match=rf"{name}:1: it cannot be read \(Permission denied\)"):
            load_study(tmp_path)


def test_no_study(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="surfscan start"):
        load_study(tmp_path)


CSV_STUDY = 'title = "T"\nspecimens_csv = "specimens.csv"\n[[group]]\nname = "g"\n'


def test_specimens_from_a_csv(tmp_path: Path) -> None:
    (tmp_path / "specimens.csv").write_bytes("id;group;exposure_h\ns1;g;168,5\ns2;g;\n".encode("utf-8-sig"))
    study = load_study(_write(tmp_path, CSV_STUDY + '[[image]]\nfile = "a"\nspecimen = "s2"\n'))
    assert [(s.id, s.exposure_h) for s in study.specimens] == [("s1", 168.5), ("s2", None)]


def test_drawn_sizes_from_a_csv(tmp_path: Path) -> None:
    csv = (
        "id;group;drawn_strut_width_um;drawn_thickness_um;drawn_shape;drawn_top_width_um\n"
        "s1;g;400,5;300;trapezoid;350\ns2;g;;;;\n"
    )
    (tmp_path / "specimens.csv").write_text(csv)
    study = load_study(_write(tmp_path, CSV_STUDY + '[[image]]\nfile = "a"\nspecimen = "s2"\n'))
    drawn, bare = study.specimens
    assert (drawn.drawn_strut_width_um, drawn.drawn_thickness_um) == (400.5, 300)
    assert (drawn.drawn_shape, drawn.drawn_top_width_um, bare.drawn_shape) == ("trapezoid", 350, None)
    (tmp_path / "specimens.csv").write_text(csv.replace("trapezoid;350", "trapezoid;450"))
    said = _faults(tmp_path, CSV_STUDY)
    assert "specimens.csv:2: drawn_top_width_um = 450 is wider than drawn_strut_width_um = 400.5" in said


def test_faults_of_the_csv_name_its_lines(tmp_path: Path) -> None:
    (tmp_path / "specimens.csv").write_text("id,group,exposure_h\ns1,g,7 d\n\ns1,x,-1\n,g,\n")
    said = _faults(tmp_path, CSV_STUDY + '[[image]]\nfile = "a"\nspecimen = "q"\n')
    for part in (
        "specimens.csv:2: exposure_h = '7 d' is not a bare number. Write the number without quotes, in h: "
        "exposure_h = 168",
        "specimens.csv:4: specimen 's1' stands twice, first at specimens.csv:2",
        "specimens.csv:4: there is no group 'x'",
        "specimens.csv:4: exposure_h = -1.0 cannot be used",
        "specimens.csv:5: 'id' is missing",
        "study.toml:7: there is no specimen 'q'. Add a row for it",
    ):
        assert part in said


def test_specimens_in_two_places_or_in_none(tmp_path: Path) -> None:
    image = '[[image]]\nfile = "a"\nspecimen = "s"\n'
    said = _faults(tmp_path, CSV_STUDY + image)
    assert said.startswith("study.toml:2: there is no file 'specimens.csv'")  # and no second fault for "s"
    (tmp_path / "specimens.csv").write_text("id,grup\ns,g\n")
    assert _faults(tmp_path, CSV_STUDY + image).startswith("specimens.csv:1: unknown column 'grup'")
    (tmp_path / "specimens.csv").write_text("id,group\ns,g\n")
    both = CSV_STUDY + '[[specimen]]\nid = "t"\ngroup = "g"\n'
    assert "study.toml:5: specimens stand both here and in specimens_csv" in _faults(tmp_path, both)
