"""Assemble the pose landmark bundle, bit for bit, from published packages.

    python models/assemble.py full            # models/pose_full.task
    python models/assemble.py heavy lite --out some/folder

Needs `pip` and `npm` on the path, and formcheck's own environment (mediapipe brings the
TFLite schema and flatbuffers). The landmark networks are the Apache-2.0 files described in
`models/README.md`; this script adds only the input normalisation that the pose landmarker
asks for, and packs detector and landmarks into one uncompressed zip.
"""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

import flatbuffers
from mediapipe.tasks.metadata import metadata_schema_py_generated as metadata_fb
from mediapipe.tasks.metadata import schema_py_generated as tflite_fb

WHEEL = "mediapipe==0.10.21"
NPM_PACKAGE = "@mediapipe/pose@0.5.1675469404"
DETECTOR_MEMBER = "mediapipe/modules/pose_detection/pose_detection.tflite"

SHA256 = {
    "detector": "9ba9dd3d42efaaba86b4ff0122b06f29c4122e756b329d89dca1e297fd8f866c",
    "full": "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
    "heavy": "59e42d71bcd44cbdbabc419f0ff76686595fd265419566bd4009ef703ea8e1fe",
    "lite": "f17bfbecadb61c3be1baa8b8d851cc6619c870a87167b32848ad20db306b9d61",
}


def verified(data: bytes, name: str) -> bytes:
    digest = hashlib.sha256(data).hexdigest()
    if digest != SHA256[name]:
        raise SystemExit(f"{name}: sha256 is {digest}, expected {SHA256[name]}; not assembled.")
    return data


def fetch_detector(folder: Path) -> bytes:
    """The detector network, from the wheel of mediapipe's earlier release."""
    subprocess.run(
        [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:",
         "--python-version", "3.11", "--platform", "manylinux_2_28_x86_64",
         "--dest", str(folder), WHEEL],
        check=True,
    )  # fmt: skip
    wheel = next(folder.glob("mediapipe-*.whl"))
    with zipfile.ZipFile(wheel) as archive:
        return verified(archive.read(DETECTOR_MEMBER), "detector")


def fetch_landmarks(folder: Path, sizes: list[str]) -> dict[str, bytes]:
    """The landmark networks, from the npm package, by size name."""
    subprocess.run(["npm", "pack", "--silent", NPM_PACKAGE], check=True, cwd=folder)
    with tarfile.open(next(folder.glob("mediapipe-pose-*.tgz"))) as archive:
        found = {}
        for size in sizes:
            member = archive.extractfile(f"package/pose_landmark_{size}.tflite")
            assert member is not None
            found[size] = verified(member.read(), size)
    return found


def image_metadata(mean: float, std: float) -> bytes:
    """TFLite metadata that declares one RGB image input normalised as (value - mean) / std."""
    options = metadata_fb.NormalizationOptionsT()
    options.mean, options.std = [mean], [std]
    unit = metadata_fb.ProcessUnitT()
    unit.optionsType = metadata_fb.ProcessUnitOptions.NormalizationOptions
    unit.options = options
    image = metadata_fb.ImagePropertiesT()
    image.colorSpace = metadata_fb.ColorSpaceType.RGB
    content = metadata_fb.ContentT()
    content.contentPropertiesType = metadata_fb.ContentProperties.ImageProperties
    content.contentProperties = image
    tensor = metadata_fb.TensorMetadataT()
    tensor.name, tensor.content, tensor.processUnits = "image", content, [unit]
    subgraph = metadata_fb.SubGraphMetadataT()
    subgraph.inputTensorMetadata = [tensor]
    model = metadata_fb.ModelMetadataT()
    model.name, model.subgraphMetadata = "pose", [subgraph]
    builder = flatbuffers.Builder(0)
    builder.Finish(model.Pack(builder), b"M001")
    return bytes(builder.Output())


def with_metadata(network: bytes, mean: float, std: float) -> bytes:
    """The network with its input normalisation added; weights are untouched."""
    model = tflite_fb.ModelT.InitFromObj(tflite_fb.Model.GetRootAs(network, 0))
    buffer = tflite_fb.BufferT()
    buffer.data = list(image_metadata(mean, std))
    model.buffers.append(buffer)
    entry = tflite_fb.MetadataT()
    entry.name, entry.buffer = "TFLITE_METADATA", len(model.buffers) - 1
    model.metadata = [m for m in model.metadata or [] if m.name != b"TFLITE_METADATA"] + [entry]
    builder = flatbuffers.Builder(len(network))
    builder.Finish(model.Pack(builder), b"TFL3")
    return bytes(builder.Output())


def pack(detector: bytes, landmarks: bytes, target: Path) -> None:
    """Write the bundle; fixed dates and order make it the same file every time."""
    partial = target.with_suffix(".partial")
    with zipfile.ZipFile(partial, "w", zipfile.ZIP_STORED) as bundle:
        for name, data in (
            ("pose_detector.tflite", with_metadata(detector, 127.5, 127.5)),
            ("pose_landmarks_detector.tflite", with_metadata(landmarks, 0.0, 255.0)),
        ):
            bundle.writestr(zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0)), data)
    partial.replace(target)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("sizes", nargs="+", choices=["full", "heavy", "lite"])
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        detector = fetch_detector(Path(scratch))
        for size, network in fetch_landmarks(Path(scratch), args.sizes).items():
            target = args.out / f"pose_{size}.task"
            pack(detector, network, target)
            print(f"{target}  sha256 {hashlib.sha256(target.read_bytes()).hexdigest()}")


if __name__ == "__main__":
    main()
