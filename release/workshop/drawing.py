"""Pictures of posed bodies and balls, many in one draw call, off screen.

In:   for each picture a camera, a body, its bone matrices and ball at each sub-frame of the exposure.
Out:  pictures in linear light with the share of foreground (alpha), premultiplied.
Why:  training wants thousands of pictures a second. All tiles of an atlas are instances of one mesh; the
      vertex shader poses each vertex, projects it with the tile's own camera and moves it to its tile, and
      clip distances cut it off at the tile's edge. Motion blur is the mean over sub-frames, each shifted
      within the pixel, which smooths edges as well.
"""

from dataclasses import dataclass

import moderngl
import numpy as np
from numpy.typing import NDArray

from release.workshop.bodies import Bodies
from release.workshop.shaders import BALL_FRAGMENT, BALL_VERTEX, BODY_FRAGMENT, BODY_VERTEX, FINAL, MIX, QUAD
from release.workshop.surface import icosphere, surface_of

Array = NDArray[np.float64]
NEAR_M, FAR_M = 0.3, 80.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shots:
    """n pictures to draw, each over s sub-frames of its exposure."""

    which: NDArray[np.int32]  # shape (n,), body
    matrices: NDArray[np.float32]  # shape (n, s, b, 3, 4), bones
    ball_m: NDArray[np.float32]  # shape (n, s, 3)
    ball_turn: NDArray[np.float32]  # shape (n, s, 3, 3)
    camera: NDArray[np.float32]  # shape (n, s, 3, 4): world to camera, x right, y down, z away
    lens: NDArray[np.float32]  # shape (n, 4): focal x, focal y, centre x, centre y in tile pixels
    looks: NDArray[np.float32]  # shape (n, LOOKS, 4), see `surface.py`
    light: NDArray[np.float32]  # shape (n, 3, 4), see `draw_light`


class Studio:
    """One off-screen renderer; tiles of one size in a grid."""

    def __init__(self, bodies: Bodies, tile: tuple[int, int], grid: tuple[int, int]) -> None:
        self.gl = moderngl.create_standalone_context(backend="egl", require=430)  # pyright: ignore[reportArgumentType]
        self.bodies, self.tile, self.grid = bodies, tile, grid
        self.size = (tile[0] * grid[0], tile[1] * grid[1])
        gl, surface = self.gl, surface_of(bodies)
        self.static = [
            gl.buffer(np.ascontiguousarray(a))
            for a in (surface.place_normal, surface.skinning, surface.region)
        ]
        self.body = gl.program(vertex_shader=BODY_VERTEX, fragment_shader=BODY_FRAGMENT)
        self.ball = gl.program(vertex_shader=BALL_VERTEX, fragment_shader=BALL_FRAGMENT)
        self.body_mesh = gl.vertex_array(
            self.body, [], index_buffer=gl.buffer(np.ascontiguousarray(bodies.faces, np.int32))
        )
        vertices, faces = icosphere(3)
        self.ball_mesh = gl.vertex_array(
            self.ball, [(gl.buffer(vertices.astype("f4")), "3f", "onSphere")], index_buffer=gl.buffer(faces)
        )
        self.mix, self.final = (gl.program(vertex_shader=QUAD, fragment_shader=f) for f in (MIX, FINAL))
        self.mix_quad, self.final_quad = gl.vertex_array(self.mix, []), gl.vertex_array(self.final, [])
        self.colour = gl.texture(self.size, 4, dtype="f2")
        self.sharp = gl.framebuffer([self.colour], gl.depth_renderbuffer(self.size))
        self.mean = gl.texture(self.size, 4, dtype="f4")
        self.mixed = gl.framebuffer([self.mean])
        self.coded = gl.texture(self.size, 4, dtype="f1")
        self.coding = gl.framebuffer([self.coded])
        self.dynamic: list[moderngl.Buffer | None] = [None] * 6
        for program in (self.body, self.ball):
            program["grid"].value = grid  # type: ignore[union-attr]
            program["tile"].value = tile  # type: ignore[union-attr]
            program["depth"].value = (NEAR_M, FAR_M)  # type: ignore[union-attr]
        self.body["bones"].value = len(bodies.names)  # type: ignore[union-attr]
        self.body["vertices"].value = bodies.vertices_m.shape[1]  # type: ignore[union-attr]

    def draw(self, shots: Shots) -> NDArray[np.uint8]:
        """Draw up to grid-many pictures.

        Returns:
            Shape (n, tile height, tile width, 4): premultiplied RGB coded by square root, alpha linear.
        """
        n, subframes = shots.matrices.shape[:2]
        if n > self.grid[0] * self.grid[1]:
            raise ValueError(f"at most {self.grid[0] * self.grid[1]} pictures at once, got {n}")
        self._send(shots)
        gl = self.gl
        self.mixed.clear()
        for s in range(subframes):
            shift = ((0.5 + s * 0.754877) % 1 - 0.5, (0.5 + s * 0.569840) % 1 - 0.5)  # R2 sequence
            for program in (self.body, self.ball):
                program["moment"].value = (s, subframes)  # type: ignore[union-attr]
                program["shift"].value = shift  # type: ignore[union-attr]
            self.sharp.use()
            self.sharp.clear()
            gl.enable(moderngl.DEPTH_TEST | moderngl.CULL_FACE)
            for plane in range(4):
                gl.enable_direct(0x3000 + plane)  # GL_CLIP_DISTANCE0 and on
            self.body_mesh.render(instances=n)
            self.ball_mesh.render(instances=n)
            gl.disable(moderngl.DEPTH_TEST | moderngl.CULL_FACE)
            for plane in range(4):
                gl.disable_direct(0x3000 + plane)
            self.mixed.use()
            gl.enable(moderngl.BLEND)
            gl.blend_func = moderngl.ONE, moderngl.ONE
            self.colour.use(0)
            self.mix["share"].value = 1 / subframes  # type: ignore[union-attr]
            self.mix_quad.render(moderngl.TRIANGLES, vertices=3)
            gl.disable(moderngl.BLEND)
        self.coding.use()
        self.mean.use(0)
        self.final_quad.render(moderngl.TRIANGLES, vertices=3)
        (w, h), (columns, rows) = self.tile, self.grid
        atlas = np.frombuffer(self.coded.read(), np.uint8).reshape(rows, h, columns, w, 4)
        return atlas.swapaxes(1, 2).reshape(rows * columns, h, w, 4)[:n]

    def _send(self, shots: Shots) -> None:
        n, s = shots.matrices.shape[:2]
        ball = np.zeros((n, s, 3, 4), "f4")
        ball[..., :3], ball[..., 3] = shots.ball_turn, shots.ball_m
        arrays = (
            shots.matrices.astype("f4"),
            ball,
            shots.camera.astype("f4"),
            np.concatenate([shots.lens[:, None], shots.light], axis=1).astype("f4"),
            shots.looks.astype("f4"),
            shots.which.astype("i4"),
        )
        for i, buffer in enumerate(self.static):
            buffer.bind_to_storage_buffer(i)
        for i, array in enumerate(arrays):
            data, old = np.ascontiguousarray(array), self.dynamic[i]
            if old is None or old.size != data.nbytes:
                if old is not None:
                    old.release()
                self.dynamic[i] = old = self.gl.buffer(reserve=data.nbytes, dynamic=True)
            old.write(data)
            old.bind_to_storage_buffer(len(self.static) + i)
