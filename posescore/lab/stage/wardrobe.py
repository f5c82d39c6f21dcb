"""Clothes cut from the body: jacket with lapels and skirt, trousers, belt, hair.

Every garment is a part of the skin, made finer, smoothed and moved outwards in the rest pose, so
it follows the bones as the skin does. Collar, lapels and seams are drawn by the renderer, which
knows where every point lay in the rest pose.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.spatial import cKDTree

from posescore.lab.bodies.flesh import Flesh, Mesh, vertex_normals

Mask = NDArray[np.bool_]

SKIRT_M: Final = 0.17
"""How far the jacket's skirt reaches below the hips' joints."""


@dataclass(frozen=True, slots=True, eq=False)
class Outfit:
    """All surfaces of one dressed person, by name."""

    parts: dict[str, Mesh]


def dress(flesh: Flesh, jacket: bool, seed: int) -> Outfit:
    """Clothe a body: with a jacket and belt as athletes wear, or shirt and trousers."""
    areas = _areas(flesh)
    parts = {"skin": _skin(flesh, areas, jacket), "hair": _hair(flesh)}
    parts["trousers"] = _trousers(flesh, areas, seed, 0.024 if jacket else 0.014)
    parts["jacket"] = _jacket(flesh, areas, seed, 0.021 if jacket else 0.012)
    if jacket:
        parts["skirt"] = _skirt(flesh, areas, seed)
        parts["belt"] = _belt(flesh, parts["jacket"])
    return Outfit(parts)


def _areas(flesh: Flesh) -> dict[str, NDArray[np.float64]]:
    """Share of every skin vertex that belongs to arms, hands, legs, feet, head and neck."""
    share: dict[str, NDArray[np.float64]] = {}
    for area, stems in _STEMS.items():
        mine = np.array([name.startswith(stems) for name in flesh.rig.names])
        share[area] = (mine[flesh.skin.bones] * flesh.skin.weights).sum(1)
    return share


_STEMS: Final = {
    "arm": ("upperarm", "lowerarm"),
    "fore": ("lowerarm",),
    "hand": ("wrist", "finger", "metacarpal"),
    "leg": ("upperleg", "lowerleg"),
    "shank": ("lowerleg",),
    "foot": ("foot", "toe"),
    "head": ("head", "eye", "jaw", "tongue"),
    "neck": ("neck",),
}


def _along(flesh: Flesh, start: str, end: str, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far points lie along a bone, 0 at its head and 1 at the next one's."""
    a, b = flesh.rig.heads[flesh.rig.index(start)], flesh.rig.heads[flesh.rig.index(end)]
    return np.asarray((points - a) @ (b - a) / ((b - a) @ (b - a)))


def _limb(flesh: Flesh, start: str, end: str, points: NDArray[np.float64]) -> NDArray[np.float64]:
    left, right = (_along(flesh, f"{start}.{s}", f"{end}.{s}", points) for s in ("L", "R"))
    return np.where(points[:, 0] > 0, left, right)


def _cut(mesh: Mesh, keep: Mask) -> Mesh:
    """The faces all of whose vertices are kept."""
    faces = mesh.faces[keep[mesh.faces].all(1)]
    used, packed = np.unique(faces, return_inverse=True)
    return Mesh(
        mesh.vertices[used], mesh.normals[used], packed.reshape(-1, 3),
        mesh.bones[used], mesh.weights[used],
    )  # fmt: skip


def _finer(mesh: Mesh) -> Mesh:
    """Every face split in four at the middles of its edges."""
    faces = mesh.faces
    edges = np.sort(np.concatenate((faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]])), 1)
    unique, back = np.unique(edges, axis=0, return_inverse=True)
    ab, bc, ca = back.reshape(3, -1) + len(mesh.vertices)
    a, b, c = faces.T
    split = np.concatenate(
        [np.stack(t, 1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    )
    vertices = np.concatenate((mesh.vertices, mesh.vertices[unique].mean(1)))
    bones, weights = _mixed(mesh, unique)
    return Mesh(vertices, vertex_normals(vertices, split), split, bones, weights)


def _dense(mesh: Mesh) -> NDArray[np.float64]:
    table = np.zeros((len(mesh.vertices), int(mesh.bones.max()) + 1))
    np.add.at(table, (np.arange(len(table))[:, None], mesh.bones), mesh.weights)
    return table


def _sparse(table: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    order = np.argsort(-table, axis=1, kind="stable")[:, :4]
    weights = np.take_along_axis(table, order, 1)
    return order, weights / weights.sum(1, keepdims=True)


def _mixed(mesh: Mesh, edges: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    table = _dense(mesh)
    return _sparse(np.concatenate((table, table[edges].mean(1))))


def _averaging(faces: NDArray[np.int64], count: int) -> csr_matrix:
    """Matrix that replaces every vertex by the mean of its neighbours."""
    rows = np.concatenate((faces.ravel(), np.roll(faces, 1, 1).ravel()))
    columns = np.concatenate((np.roll(faces, 1, 1).ravel(), faces.ravel()))
    near = coo_matrix((np.ones(len(rows)), (rows, columns)), (count, count)).tocsr()
    near.data[:] = 1.0
    return diags(1.0 / np.maximum(near.sum(1).A1, 1)) @ near


def _loose(
    mesh: Mesh, outward: NDArray[np.float64], rounds: int, seed: int, weight_rounds: int = 4
) -> Mesh:
    """A garment: the mesh smoothed, moved outwards by ``outward (n,)`` metres and creased."""
    average = _averaging(mesh.faces, len(mesh.vertices))
    border = _border(mesh)
    points = mesh.vertices.copy()
    for _ in range(rounds):
        moved = 0.5 * points + 0.5 * (average @ points)
        points = np.where(border[:, None], points, moved)
    normals = vertex_normals(points, mesh.faces)
    for _ in range(3):
        normals = 0.5 * normals + 0.5 * (average @ normals)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    points = points + normals * (outward + _creases(mesh.vertices, seed))[:, None]
    table = _dense(mesh)
    for _ in range(weight_rounds):
        table = 0.5 * table + 0.5 * (average @ table)
    bones, weights = _sparse(table)
    return Mesh(points, vertex_normals(points, mesh.faces), mesh.faces, bones, weights)


def _border(mesh: Mesh) -> Mask:
    edges = np.sort(
        np.concatenate((mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]])), 1
    )
    unique, count = np.unique(edges, axis=0, return_counts=True)
    found = np.zeros(len(mesh.vertices), bool)
    found[unique[count == 1].ravel()] = True
    return found


def _creases(points: NDArray[np.float64], seed: int) -> NDArray[np.float64]:
    """Folds of loose cloth, a few millimetres high."""
    random = np.random.default_rng(seed)
    height = np.zeros(len(points))
    for wave in (18.0, 31.0, 47.0):
        for _ in range(4):
            way = random.normal(size=3) * [1, 1, 0.55]
            phase = random.uniform(0, 2 * np.pi)
            height += np.sin(points @ way / np.linalg.norm(way) * wave + phase) / wave
    return np.asarray(0.018 * height)


def _ramp(values: NDArray[np.float64], low: float, high: float) -> NDArray[np.float64]:
    t = np.clip((values - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t))


def _trousers(flesh: Flesh, areas: dict[str, NDArray[np.float64]], seed: int, gap: float) -> Mesh:
    skin, points = flesh.skin, flesh.skin.vertices
    shin = _limb(flesh, "lowerleg01", "foot", points)
    keep = (points[:, 2] < 0.13) & (areas["foot"] < 0.5) & (shin < 0.9)
    keep &= (areas["arm"] + areas["hand"]) < 0.3
    mesh = _finer(_cut(skin, keep))
    shin = _limb(flesh, "lowerleg01", "foot", mesh.vertices)
    wide = gap + 1.1 * gap * _ramp(shin, -0.4, 0.9) * (mesh.vertices[:, 2] < -0.1)
    return _loose(mesh, wide, 8, seed + 1)


def _jacket(flesh: Flesh, areas: dict[str, NDArray[np.float64]], seed: int, gap: float) -> Mesh:
    skin, points = flesh.skin, flesh.skin.vertices
    fore = _limb(flesh, "lowerarm01", "wrist", points)
    keep = (areas["head"] < 0.3) & (areas["hand"] < 0.5) & (points[:, 2] > -0.06)
    keep &= ~((areas["fore"] > 0.3) & (fore > (0.88 if gap > 0.015 else -1.0)))
    keep &= areas["leg"] < 0.9
    throat_m = flesh.rig.heads[flesh.rig.index("neck02")][2]
    keep &= ~((areas["neck"] > 0.4) & (points[:, 2] > throat_m))
    mesh = _finer(_cut(skin, keep))
    fore = _limb(flesh, "upperarm01", "wrist", mesh.vertices)
    sleeve = np.abs(mesh.vertices[:, 0]) > 0.2
    wide = gap + 1.2 * gap * _ramp(fore, 0.1, 0.9) * sleeve
    return _loose(mesh, wide, 8, seed + 2)


def _skirt(flesh: Flesh, areas: dict[str, NDArray[np.float64]], seed: int) -> Mesh:
    skin, points = flesh.skin, flesh.skin.vertices
    keep = (points[:, 2] < 0.14) & (points[:, 2] > -SKIRT_M - 0.03)
    keep &= (areas["arm"] + areas["hand"]) < 0.3
    inner = (points[:, 2] < -0.03) & (np.sign(points[:, 0]) * skin.normals[:, 0] < -0.15)
    keep &= ~inner & ~((np.abs(points[:, 0]) < 0.035) & (points[:, 2] < -0.05))
    mesh = _finer(_cut(skin, keep))
    flare = 0.034 + 0.03 * _ramp(-mesh.vertices[:, 2], -0.1, SKIRT_M)
    return _loose(mesh, flare, 14, seed + 3, weight_rounds=14)


def _skin(flesh: Flesh, areas: dict[str, NDArray[np.float64]], jacket: bool) -> Mesh:
    """What shows: head, neck, hands, feet, and the chest between the lapels."""
    points = flesh.skin.vertices
    shin = _limb(flesh, "lowerleg01", "foot", points)
    fore = _limb(flesh, "lowerarm01", "wrist", points)
    show = (areas["head"] + areas["neck"] > 0.1) | (areas["hand"] > 0.1) | (areas["foot"] > 0.1)
    show |= (areas["shank"] > 0.5) & (shin > 0.7)
    show |= (areas["fore"] > 0.3) & (fore > (0.6 if jacket else -0.4))
    show |= (points[:, 1] < -0.02) & (points[:, 2] > 0.25) & (np.abs(points[:, 0]) < 0.13)
    show |= (points[:, 2] > 0.5) & (np.abs(points[:, 0]) < 0.13)
    return _cut(flesh.skin, show)


def _hair(flesh: Flesh) -> Mesh:
    """The scalp, moved outwards; the renderer draws the hairline."""
    skin, points = flesh.skin, flesh.skin.vertices
    head = np.array([name == "head" for name in flesh.rig.names])
    weight = (head[skin.bones] * skin.weights).sum(1)
    eye = flesh.rig.heads[flesh.rig.index("eye.L")]
    inside = np.linalg.norm(points - [0, -0.03, eye[2] + 0.01], axis=1) < 0.06
    keep = (weight > 0.7) & (points[:, 2] > eye[2] - 0.09) & ~inside
    keep &= (points[:, 2] > eye[2] + 0.025) | (points[:, 1] > eye[1] + 0.09)
    mesh = _finer(_cut(skin, keep))
    height = mesh.vertices[:, 2] - eye[2]
    thick = 0.003 + 0.009 * _ramp(height, -0.03, 0.10)
    return _loose(mesh, thick, 3, 11)


def _belt(flesh: Flesh, jacket: Mesh) -> Mesh:
    """A band about the waist, a knot in front and two ends that hang from it."""
    waist_m = 0.115
    near = jacket.vertices[np.abs(jacket.vertices[:, 2] - waist_m) < 0.03]
    near = near[np.abs(near[:, 0]) < 0.25]
    centre = np.array([0.0, near[:, 1].mean()])
    angle = np.linspace(-np.pi, np.pi, 73)[:-1]
    bearing = np.arctan2(near[:, 0], -(near[:, 1] - centre[1]))
    radius = np.hypot(near[:, 0], near[:, 1] - centre[1])
    reach = np.array(
        [radius[np.abs(np.angle(np.exp(1j * (bearing - a)))) < 0.2].max() for a in angle]
    )
    reach = np.convolve(np.concatenate((reach[-4:], reach, reach[:4])), np.ones(9) / 9, "valid")
    rows = [(-0.021, 0.008), (-0.019, 0.014), (0.019, 0.014), (0.021, 0.008)]
    ring = [
        np.column_stack(
            (
                (reach + out) * np.sin(angle),
                centre[1] - (reach + out) * np.cos(angle),
                np.full(len(angle), waist_m + up),
            )
        )
        for up, out in rows
    ]
    points, faces = _strip(ring, closed=True)
    front = centre[1] - reach[len(angle) // 2] - 0.02
    pieces = [(points, faces), *_knot(front, waist_m)]
    merged, triangles, start = [], [], 0
    for piece, piece_faces in pieces:
        merged.append(piece)
        triangles.append(piece_faces + start)
        start += len(piece)
    vertices, tris = np.concatenate(merged), np.concatenate(triangles)
    _, nearest = cKDTree(flesh.skin.vertices).query(vertices * [0.9, 1, 1])
    table = _dense(flesh.skin)[nearest]
    bones, weights = _sparse(table)
    return Mesh(vertices, vertex_normals(vertices, tris), tris, bones, weights)


def _strip(
    rows: list[NDArray[np.float64]], closed: bool
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Faces between rows of points."""
    length = len(rows[0])
    last = length if closed else length - 1
    faces = []
    for row in range(len(rows) - 1):
        for i in range(last):
            a, b = row * length + i, row * length + (i + 1) % length
            faces += [(a, b, b + length), (a, b + length, a + length)]
    return np.concatenate(rows), np.array(faces)


def _knot(front: float, waist_m: float) -> list[tuple[NDArray[np.float64], NDArray[np.int64]]]:
    pieces = []
    turn = np.linspace(0, 2 * np.pi, 13)[:-1]
    rings = [
        np.column_stack(
            (
                np.full(12, 0.04 * np.sin(t)),
                front - 0.005 + 0.02 * np.cos(t) * np.cos(turn),
                waist_m + 0.026 * np.cos(t) * np.sin(turn),
            )
        )
        for t in np.linspace(-1.5, 1.5, 7)
    ]
    pieces.append(_strip(rings, closed=True))
    for sign in (-1, 1):
        down = np.linspace(0, 1, 9)
        x = sign * (0.01 + 0.07 * down)
        z = waist_m - 0.28 * down
        y = front - 0.012 - 0.012 * down
        sides = [np.column_stack((x + w, y + d, z)) for w, d in ((-0.019, 0), (0.019, 0))]
        back = [np.column_stack((x + w, y + 0.006, z)) for w in (0.019, -0.019)]
        pieces.append(_strip([*sides, *back, sides[0]], closed=False))
    return pieces
