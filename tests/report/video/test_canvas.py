from __future__ import annotations

import numpy as np
import pytest

from formcheck.report.video.canvas import Canvas, Matrix, rgb


def blank(width: int = 64, height: int = 48, matrix: Matrix = "bt601") -> Canvas:
    return Canvas.over(np.full((height * 3 // 2, width), 128, np.uint8), matrix)


@pytest.mark.parametrize(
    ("matrix", "colour", "planes"),
    [
        # 8-bit limited range of the primaries: ITU-R BT.601-7 and BT.709-6, rounded.
        ("bt601", "#ff0000", (81, 90, 240)),
        ("bt601", "#00ff00", (145, 54, 34)),
        ("bt601", "#ffffff", (235, 128, 128)),
        ("bt709", "#ff0000", (63, 102, 240)),
        ("bt709", "#0000ff", (32, 240, 118)),
        ("bt709", "#000000", (16, 128, 128)),
    ],
)
def test_colours_become_the_video_standards_numbers(
    matrix: Matrix, colour: str, planes: tuple[int, int, int]
) -> None:
    canvas = blank(matrix=matrix)
    canvas.fill(colour)
    assert (canvas.y[0, 0], canvas.u[0, 0], canvas.v[0, 0]) == planes


@pytest.mark.parametrize("matrix", ["bt601", "bt709"])
@pytest.mark.parametrize("colour", ["#b0360b", "#66c7f4", "#0f1a17", "#f6f3e7"])
def test_a_filled_canvas_reads_back_in_its_colour(matrix: Matrix, colour: str) -> None:
    canvas = blank(matrix=matrix)
    canvas.fill(colour)
    assert np.abs(canvas.rgb().astype(int) - rgb(colour)).max() <= 3


def test_a_path_runs_where_it_was_asked_to() -> None:
    canvas = blank()
    canvas.fill("#000000")
    canvas.path([(10, 24), (50, 24)], "#ffffff", 3)
    lit = canvas.rgb()[:, :, 1] > 128
    assert lit[24, 12:48].all() and not lit[:20].any() and not lit[28:].any()


def test_a_part_shares_the_pixels_of_the_whole() -> None:
    canvas = blank()
    canvas.fill("#000000")
    canvas.part(32, 0, 64, 48).fill("#ffffff")
    assert canvas.y[:, :32].max() == 16 and canvas.y[:, 32:].min() == 235
    assert canvas.part(32, 0, 64, 48).width == 32


def test_text_is_drawn_from_its_anchor() -> None:
    for anchor, columns in (("left", slice(0, 30)), ("right", slice(34, 64))):
        canvas = blank()
        canvas.fill("#000000")
        canvas.letter("8", 32, 40, 24, "#ffffff", anchor=anchor)  # type: ignore[arg-type]
        lit = canvas.y > 128
        assert lit.any() and not lit[:, columns].any()


def test_strokes_outside_the_picture_are_cut_off() -> None:
    canvas = blank()
    canvas.letter("wide of the mark", -300, 500, 20, "#ffffff", casing="#000000")
    canvas.path([(-50, -50), (-10, -10)], "#ffffff", 4)
    canvas.wash([(-20, -20), (-10, -20), (-15, -5)], "#ffffff", 0.5)
    canvas.dot((200, 200), 5, "#ffffff")
    assert (canvas.y == 128).all()
