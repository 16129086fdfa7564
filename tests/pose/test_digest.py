from __future__ import annotations

from pathlib import Path

from formcheck.pose.digest import sha256_of


def test_the_fingerprint_is_sha_256_of_the_content_alone(tmp_path: Path) -> None:
    """FIPS 180-2, appendix B.1: the digest of "abc"."""
    first, second = tmp_path / "set.mp4", tmp_path / "renamed"
    first.write_bytes(b"abc")
    second.write_bytes(b"abc")
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256_of(first) == sha256_of(second) == expected
    second.write_bytes(b"abd")
    assert sha256_of(second) != expected
