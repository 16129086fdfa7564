from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from formcheck.clip.read import at_most, probe, read_frames, read_planes
from formcheck.clip.small import Drawn, Keep, copies_in, drawn_times, read_frames_keeping
from tests.clip.clips import make_clip


def test_a_small_copy_shows_what_the_clip_shows_and_costs_the_search_nothing(
    tmp_path: Path,
) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", [n / 30 for n in range(30)]))
    times = at_most(info.times_s, 15)
    for n, part in enumerate((slice(0, 15), slice(15, 30))):
        keep = Keep(tmp_path / f"{n:04}.mkv", info.times_s[part])
        wanted = times[np.isin(times, keep.times_s)]
        seen = list(read_frames_keeping(info, wanted, 960, keep))
        for (t_s, picture), (own_s, own) in zip(seen, read_frames(info, wanted, 960), strict=True):
            assert t_s == own_s
            np.testing.assert_array_equal(picture(), own)
    copied = list(Drawn(info, copies_in(tmp_path)).planes(info.width, info.height))
    exactly = list(read_planes(info, info.width, info.height))
    assert [t for t, _ in copied] == [t for t, _ in exactly]
    for (_, planes), (_, exact) in zip(copied, exactly, strict=True):
        assert np.abs(planes[0].astype(int) - exact[0]).mean() < 4


def test_a_fast_clip_is_drawn_at_thirty_pictures_a_second_and_a_usual_one_whole(
    tmp_path: Path,
) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", [n / 30 for n in range(30)]))
    assert len(drawn_times(info)) == 30
    fast = replace(info, fps=60.0, times_s=np.arange(60) / 60)
    np.testing.assert_allclose(drawn_times(fast), np.arange(0, 60, 2) / 60)
