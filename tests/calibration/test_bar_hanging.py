import numpy as np

from surfscan.calibration.bar_hanging import look_around


def picture():
    levels = np.full((200, 300), 255, np.uint8)
    levels[100:102, 50:250] = 0
    return levels


def looked(levels):
    return look_around(levels, 100, 102, 0.0, 255.0, 50, 249, same=0.1, flat=True)


def test_nothing_hangs_on_a_plain_bar():
    found = looked(picture())
    assert not (found.ticks or found.lopsided or found.impossible or found.ruler or found.underlines)
    assert found.stems == 0 and found.goes_on == 0 and found.interior == 0


def test_ticks():
    levels = picture()
    levels[92:110, 50:52] = levels[92:110, 248:250] = 0
    found = looked(levels)
    assert found.ticks and (found.up, found.down) == (8, 8)
    assert found.tick_columns == ((50, 51), (248, 249))
    assert all(row < 100 or row >= 102 for row in found.tick_rows)
    left, right = found.tick(levels, 0), found.tick(levels, 1)
    assert (left.centre_px, right.centre_px) == (50.5, 248.5)
    assert (left.width_px, right.width_px) == (2, 2)


def test_one_tick_or_two_unlike_ones():
    levels = picture()
    levels[92:110, 50:52] = 0
    assert looked(levels).lopsided and not looked(levels).ticks
    levels[70:110, 248:250] = 0
    assert not looked(levels).ticks


def test_frame():
    levels = picture()
    levels[90:102, 50:52] = levels[90:102, 248:250] = 0
    levels[90:92, 50:250] = 0
    assert looked(levels).impossible


def test_ticks_without_end():
    levels = picture()
    levels[:, 50:52] = levels[:, 248:250] = 0
    assert looked(levels).impossible


def test_stem_and_ruler():
    levels = picture()
    levels[90:100, 150:152] = 0
    assert looked(levels).stems == 1 and not looked(levels).ruler
    for k in range(11):
        x = 50 + round(k * 198 / 10)
        levels[90:100, x : x + 2] = 0
    assert looked(levels).ruler


def test_thick_ink_is_no_thin_layer():
    levels = picture()
    levels[102:140, 60:240] = 0
    assert looked(levels).impossible


def test_line_under_text():
    levels = picture()
    for x in (50, 80, 120, 170, 210, 246):
        levels[80:97, x : x + 4] = 0
    assert looked(levels).underlines
    levels[80:97, 246:250] = 255  # a label that is shorter than its bar
    levels[80:97, 210:214] = 255
    assert not looked(levels).underlines


def test_line_that_bends_on():
    levels = picture()
    for k in range(12):
        levels[102 + k // 4 : 104 + k // 4, 250 + k] = 0
    assert looked(levels).goes_on == 1
