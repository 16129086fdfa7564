"""Pictures of single moments, taken from the annotated clips of report folders."""

from __future__ import annotations

import base64
from collections import defaultdict
from collections.abc import Sequence

import cv2
import numpy as np

from formcheck.agree.compare import Verdict
from formcheck.agree.measured import MeasuredSet
from formcheck.clip.read import probe_apart, read_frames
from formcheck.errors import ClipError
from formcheck.report.folder import DRAWN_CLIP

_LONG_SIDE_PX, _QUALITY = 560, 76
MOST_PICTURES = 40


def pictures(
    verdicts: Sequence[Verdict], sets: Sequence[MeasuredSet]
) -> dict[tuple[int, float], str]:
    """Data URLs by set and moment, of the first ``MOST_PICTURES``; none where there is no clip."""
    wanted: dict[int, set[float]] = defaultdict(set)
    for one in verdicts[:MOST_PICTURES]:
        if np.isfinite(one.at_s):
            wanted[one.of_set].add(one.at_s)
    out = {}
    for of_set, moments in wanted.items():
        folder = sets[of_set].folder
        if folder is None or not (folder / DRAWN_CLIP).is_file():
            continue
        times = np.array(sorted(moments))
        try:
            info = probe_apart(folder / DRAWN_CLIP)
            nearest = np.unique(info.times_s[np.abs(info.times_s[:, None] - times).argmin(axis=0)])
            shown = list(read_frames(info, nearest, _LONG_SIDE_PX))
        except ClipError:
            continue
        for at_s in times:
            if shown:
                picture = min(shown, key=lambda one: abs(one[0] - at_s))[1]
                out[of_set, float(at_s)] = _jpeg(picture)
    return out


def _jpeg(picture: np.ndarray) -> str:
    done, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode() if done else ""
