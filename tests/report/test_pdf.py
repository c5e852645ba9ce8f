"""The page on paper."""

import base64
import stat
import sys

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report import pdf


@pytest.fixture
def program(tmp_path):
    """Function that writes a program in Python and gives its path."""

    def write(body, name="browser"):
        path = tmp_path / name
        path.write_text(f"#!{sys.executable}\nimport sys\n{body}\n", encoding="utf-8")
        path.chmod(path.stat().st_mode | stat.S_IEXEC)
        return path

    return write


PRINTS = """
out = next(a.split("=", 1)[1] for a in sys.argv if a.startswith("--print-to-pdf="))
from urllib.request import urlopen
open(out, "wb").write(b"%PDF-1.4 " + sys.argv[-1].encode() + b" " + urlopen(sys.argv[-1]).read())
"""
posix = pytest.mark.skipif(sys.platform == "win32", reason="a script with a first line is no program there")


@posix
def test_browser_on_the_search_path_comes_first(program, tmp_path):
    program("", "google-chrome")
    chromium = program("", "chromium")
    assert pdf.find_browser("linux", {"PATH": str(tmp_path)}, tmp_path) == chromium


def test_browser_of_mac_and_windows_where_installers_put_it(tmp_path):
    mac = tmp_path / "Applications" / "Google Chrome.app" / "Contents" / "MacOS" / "Google Chrome"
    edge = tmp_path / "Microsoft" / "Edge" / "Application" / "msedge.exe"
    for path in (mac, edge):
        path.parent.mkdir(parents=True)
        path.write_bytes(b"")
    assert pdf.find_browser("darwin", {"PATH": ""}, tmp_path) == mac
    assert pdf.find_browser("win32", {"PATH": "", "PROGRAMFILES": str(tmp_path)}, tmp_path) == edge
    with pytest.raises(InputError, match="no Chromium, Chrome or Edge was found") as told:
        pdf.find_browser("win32", {"PATH": ""}, tmp_path)
    assert "Install Chromium, Chrome or Edge, or open report.html" in str(told.value)


@posix
def test_prints_the_page_whole(program, tmp_path):
    page = tmp_path / "a report.html"
    page.write_text("<p>µ</p>", encoding="utf-8")
    pdf.print_pdf(page, tmp_path / "report.pdf", program(PRINTS))
    start, address, text = (tmp_path / "report.pdf").read_bytes().decode().split(" ", 2)
    assert start == "%PDF-1.4" and text == "<p>µ</p>"
    assert address.endswith("/a%20report.html") and address != page.as_uri()


def test_pictures_go_to_paper_as_jpeg_that_looks_the_same():
    drawn = cv2.GaussianBlur(np.random.default_rng(5).integers(0, 256, (90, 120, 3), np.uint8), (0, 0), 3)
    webp = cv2.imencode(".webp", drawn, [cv2.IMWRITE_WEBP_QUALITY, 80])[1].tobytes()
    uri = f"data:image/webp;base64,{base64.b64encode(webp).decode()}"
    html = f'<image href="{uri}"/><p>webp</p><image href="{uri}"/>'
    made = pdf.for_paper(html)
    assert "image/webp" not in made and made.count("data:image/jpeg;base64,") == 2 and "<p>webp</p>" in made
    content = base64.b64decode(made.split("base64,")[1].split('"')[0])
    found = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR).astype(float)
    shown = cv2.imdecode(np.frombuffer(webp, np.uint8), cv2.IMREAD_COLOR)
    assert found.shape == shown.shape and np.sqrt(np.mean((found - shown) ** 2)) < 6
    assert pdf.for_paper(html) == made


def test_page_that_is_not_there_is_told_of(tmp_path):
    with pytest.raises(InputError, match=r"cannot be read.*Run surfscan report"):
        pdf.print_pdf(tmp_path / "report.html", tmp_path / "report.pdf", tmp_path / "browser")


@posix
@pytest.mark.parametrize(
    "body", ["print('no display', file=sys.stderr); sys.exit(3)", PRINTS.replace("%PDF", "%XYZ")]
)
def test_browser_that_does_not_print_is_told_of_and_the_old_file_kept(program, tmp_path, body):
    old = tmp_path / "report.pdf"
    old.write_bytes(b"old")
    (tmp_path / "report.html").write_text("x")
    with pytest.raises(InputError, match="did not print the page"):
        pdf.print_pdf(tmp_path / "report.html", old, program(body))
    assert old.read_bytes() == b"old"


def test_browser_that_cannot_be_started_is_told_of(tmp_path):
    (tmp_path / "report.html").write_text("x")
    with pytest.raises(InputError, match="did not print the page"):
        pdf.print_pdf(tmp_path / "report.html", tmp_path / "report.pdf", tmp_path / "gone")
