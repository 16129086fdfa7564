from __future__ import annotations

from pathlib import Path

import pytest

from formcheck.batch.run import BatchJob, BatchOutcome, run_batch
from tests.batch.folders import GROUP, fill
from tests.solved import judge


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> None:
    pytest.MonkeyPatch().setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))


@pytest.fixture(scope="session")
def judged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, BatchOutcome]:
    """A folder of clips, the folder of its reports, and what came of it; not to be changed."""
    top = tmp_path_factory.mktemp("judged")
    clips = fill(top / "clips", GROUP)
    return clips, top / "out", run_batch(BatchJob(clips, top / "out", count=1), judge=judge)
