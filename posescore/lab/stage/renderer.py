"""Draws dressed people in the hall, without a screen (moderngl over EGL, Mesa will do)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Final, Self

import cv2
import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.lab.bodies.flesh import Mesh
from posescore.lab.stage import hall, shaders
from posescore.lab.stage.handheld import View
from posescore.lab.stage.wardrobe import Outfit

Colour = tuple[float, float, float]

FINENESS_NUM, FINENESS_DEN = 4, 3
"""Pictures are drawn this much finer and averaged: smooth edges without multisampling."""

SHADOW_SIZE: Final = 1536
SHADOW_REACH_M: Final = 3.0
NEAR_M, FAR_M = 0.2, 40.0

PARTS: Final = {"skin": 0, "jacket": 1, "trousers": 2, "skirt": 3, "belt": 4, "hair": 5, "shirt": 6}


@dataclass(frozen=True, slots=True, eq=False)
class Person:
    """One dressed person: surfaces, linear colours by part, and where the face's parts lie."""

    outfit: Outfit
    colours: dict[str, Colour]
    eye_rest: NDArray[np.float64]
    nose_rest: NDArray[np.float64]
    neck_m: float
    wears_gi: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Stance:
    """One person in one frame: bone matrices ``(n_bones, 3, 4)`` and flesh (15 capsules)."""

    matrices: NDArray[np.float32]
    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    radii: NDArray[np.float64]


class Renderer:
    """Pictures of up to three people. A context manager: it holds a graphics context.

    Parameters
    ----------
    people
        Who is drawn, in the order of every picture's stances.
    size_px
        Width and height.
    look
        How the hall looks.

    Raises
    ------
    MissingPartError
        When no graphics context can be made.
    """

    def __init__(
        self,
        people: Sequence[Person],
        size_px: tuple[int, int],
        look: hall.Look = hall.SAMPLE_LOOK,
    ) -> None:
        try:
            import moderngl

            gl: Any = moderngl
            self._gl = gl
            self._context: Any = gl.create_context(standalone=True, backend="egl")
        except Exception as error:
            raise MissingPartError(
                "Rendering needs the extra 'lab' and EGL (Debian: libegl1 libgl1-mesa-dri)."
            ) from error
        self.people = tuple(people)
        self.size_px = size_px
        self._look = look
        self._light_way = np.array(look.light_way) / np.linalg.norm(look.light_way)
        self._make_targets()
        self._make_programs()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._context.release()

    def _make_targets(self) -> None:
        context = self._context
        self._shadow_map = context.depth_texture((SHADOW_SIZE, SHADOW_SIZE))
        self._shadow_map.compare_func = "<="
        self._shadow = context.framebuffer(depth_attachment=self._shadow_map)
        size = self.size_px
        fine = (size[0] * FINENESS_NUM // FINENESS_DEN, size[1] * FINENESS_NUM // FINENESS_DEN)
        self._fine_px = fine
        self._fine = context.framebuffer(
            context.renderbuffer(fine, 3), context.depth_renderbuffer(fine)
        )

    def _make_programs(self) -> None:
        context = self._context
        program = context.program
        self._person = program(shaders.PERSON_VERTEX, shaders.PERSON_FRAGMENT)
        self._caster = program(shaders.SHADOW_VERTEX, shaders.SHADOW_FRAGMENT)
        hall_fragment = shaders.hall_fragment(self._look.inner, self._look.outer)
        self._hall = program(shaders.HALL_VERTEX, hall_fragment)
        self._bones = [context.texture((3, shaders.N_BONES), 4, dtype="f4") for _ in self.people]
        self._dressed = [
            {name: self._surface(mesh) for name, mesh in person.outfit.parts.items()}
            for person in self.people
        ]
        layout = "3f 3f 3f", "in_place", "in_normal", "in_colour"
        self._rooms = []
        for surface in (hall.mat(), hall.hall(self._look)):
            corners, index = np.unique(surface.corners, axis=0, return_inverse=True)
            buffers = context.buffer(corners), context.buffer(index.astype("i4"))
            self._rooms.append(
                context.vertex_array(self._hall, [(buffers[0], *layout)], buffers[1])
            )

    def _surface(self, mesh: Mesh) -> tuple[Any, Any]:
        rows = np.hstack((mesh.vertices, mesh.normals, mesh.bones, mesh.weights))
        vertices = self._context.buffer(rows.astype("f4"))
        index = self._context.buffer(mesh.faces.astype("i4"))
        layout = (vertices, "3f 3f 4f 4f", "in_place", "in_normal", "in_bones", "in_weights")
        casting = (vertices, "3f 12x 4f 4f", "in_place", "in_bones", "in_weights")
        drawn = self._context.vertex_array(self._person, [layout], index)
        cast = self._context.vertex_array(self._caster, [casting], index)
        return drawn, cast

    def picture(self, view: View, stances: Sequence[Stance]) -> NDArray[np.uint8]:
        """One picture ``(height, width, 3)``."""
        for texture, stance in zip(self._bones, stances, strict=True):
            texture.write(np.ascontiguousarray(stance.matrices, dtype="f4"))
        centre = np.mean([stance.starts[0] for stance in stances[:2]], axis=0)
        light = _light_matrix(centre, self._light_way)
        self._cast_shadows(light)
        self._fine.use()
        self._context.enable(self._gl.DEPTH_TEST)
        self._fine.clear(0.62, 0.60, 0.56)
        camera = _camera_matrix(view)
        self._shadow_map.use(1)
        for program in (self._person, self._hall):
            self._set_light(program, view, light, stances)
            program["camera"].write(camera.T.astype("f4").tobytes())
        for slot, person in enumerate(self.people):
            self._draw_person(slot, person)
        self._hall["mat_half"].value = hall.MAT_HALF_M
        for is_mat, room in zip((1, 0), self._rooms, strict=True):
            self._hall["is_mat"].value = is_mat
            room.render()
        width, height = self._fine_px
        data = self._fine.read(components=3, alignment=1)
        drawn = np.frombuffer(data, np.uint8).reshape(height, width, 3)[::-1]
        return np.asarray(cv2.resize(drawn, self.size_px, interpolation=cv2.INTER_AREA))

    def _cast_shadows(self, light: NDArray[np.float64]) -> None:
        self._shadow.use()
        self._context.enable(self._gl.DEPTH_TEST)
        self._shadow.clear(depth=1.0)
        self._caster["camera"].write(light.T.astype("f4").tobytes())
        for slot, parts in enumerate(self._dressed):
            self._bones[slot].use(0)
            for _, cast in parts.values():
                cast.render()

    def _set_light(
        self, program: Any, view: View, light: NDArray[np.float64], stances: Sequence[Stance]
    ) -> None:
        starts, ends, bounds = _occluders(stances)
        program["eye"].value = tuple(view.place)
        program["light_way"].value = tuple(self._light_way)
        program["light_camera"].write(light.T.astype("f4").tobytes())
        program["shadow"].value = 1
        program["capsule_start"].write(starts.astype("f4").tobytes())
        program["capsule_end"].write(ends.astype("f4").tobytes())
        program["bounds"].write(bounds.astype("f4").tobytes())

    def _draw_person(self, slot: int, person: Person) -> None:
        program = self._person
        self._bones[slot].use(0)
        program["eye_rest"].value = tuple(person.eye_rest)
        program["nose_rest"].value = tuple(person.nose_rest)
        program["hair_colour"].value = person.colours["hair"]
        program["waist"].value = 0.115
        program["neck"].value = person.neck_m
        for name, (drawn, _) in self._dressed[slot].items():
            part = "shirt" if name == "jacket" and not person.wears_gi else name
            program["part"].value = PARTS[part]
            program["colour"].value = person.colours[name]
            drawn.render()


def _occluders(
    stances: Sequence[Stance],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Capsules of three people and a ball about each, for the open-sky term."""
    count = shaders.N_CAPSULES // 3
    starts, ends = np.zeros((3 * count, 4)), np.zeros((3 * count, 3))
    bounds = np.zeros((3, 4))
    for slot, stance in enumerate(stances):
        rows = slice(slot * count, (slot + 1) * count)
        starts[rows, :3], starts[rows, 3], ends[rows] = stance.starts, stance.radii, stance.ends
        centre = (stance.starts.mean(0) + stance.ends.mean(0)) / 2
        reach = np.linalg.norm(np.concatenate((stance.starts, stance.ends)) - centre, axis=1).max()
        bounds[slot] = [*centre, reach + 0.45]
    return starts, ends, bounds


def _camera_matrix(view: View) -> NDArray[np.float64]:
    width, height = view.size_px
    seen = np.eye(4)
    seen[:3, :3] = view.rotation * np.array([1, -1, -1])[:, None]
    seen[:3, 3] = -seen[:3, :3] @ view.place
    lens = np.zeros((4, 4))
    lens[0, 0], lens[1, 1] = 2 * view.focal_px / width, 2 * view.focal_px / height
    lens[2, 2] = (FAR_M + NEAR_M) / (NEAR_M - FAR_M)
    lens[2, 3] = 2 * FAR_M * NEAR_M / (NEAR_M - FAR_M)
    lens[3, 2] = -1
    return np.asarray(lens @ seen)


def _light_matrix(
    centre: NDArray[np.float64], light_way: NDArray[np.float64]
) -> NDArray[np.float64]:
    right = np.cross((0.0, 1.0, 0.0), light_way)
    right /= np.linalg.norm(right)
    seen = np.eye(4)
    seen[:3, :3] = np.stack((right, np.cross(light_way, right), light_way))
    seen[:3, 3] = -seen[:3, :3] @ centre
    lens = np.diag([1 / SHADOW_REACH_M, 1 / SHADOW_REACH_M, -1 / 5.0, 1.0])
    return np.asarray(lens @ seen)
