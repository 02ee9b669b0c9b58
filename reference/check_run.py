#!/usr/bin/env python3
"""Hold what a run of Loopwright says of its own surface against libraries that share no code
with it: distances by libigl, topology, volume and the GLB file by trimesh.

usage: check_run.py LOOPWRIGHT FOLDER
LOOPWRIGHT is the binary; FOLDER has coat.toml, oilskin.ply, surface.obj, surface.glb and
findings.json, as `loopwright demo --out FOLDER` leaves them. The surface is checked as it is,
and once more with its vertices pushed about, so that distances are not all small.
Exit status: 0 all agree, 1 some don't, 2 a file can't be used.
"""
from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import igl
import numpy as np
import trimesh
from numpy.typing import NDArray

from check_surface import Unusable, load

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SAMPLES = 200_000
SEED = 7
EXACT = 1e-6  # f64 against f64 through other formulas, relative
RMS = 0.02  # sampled on both sides: some 0.5 % each at these numbers
TAIL = 0.03  # the 99th percentile of the same
CENTIMETRES = 0.01  # in a metre; glTF counts in metres
VOLUME = 0.01  # of the sculpt's: a surface of 1,400 faces cuts corners


@dataclass
class Checks:
    """Counts what agrees and says what doesn't."""

    failed: int = 0

    def near(self, name: str, ours: float, theirs: float, relative: float) -> None:
        self.that(name, abs(ours - theirs) <= relative * abs(theirs), f"{ours:.6g}, reference {theirs:.6g}")

    def that(self, name: str, holds: bool, told: str = "") -> None:
        self.failed += not holds
        print(f"{'agrees' if holds else 'DIFFERS':>7}  {name}{': ' + told if told else ''}")


@dataclass
class Quads:
    """A surface of quads."""

    vertices: Floats
    quads: Ints

    def triangles(self) -> Ints:
        """Two triangles a quad along the shorter diagonal, as the project's check takes them."""
        a, b, c, d = (self.vertices[self.quads[:, i]] for i in range(4))
        first = np.linalg.norm(a - c, axis=1) <= np.linalg.norm(b - d, axis=1)
        one = np.where(first[:, None], self.quads[:, [0, 1, 2]], self.quads[:, [0, 1, 3]])
        two = np.where(first[:, None], self.quads[:, [0, 2, 3]], self.quads[:, [1, 2, 3]])
        return np.concatenate([one, two])

    def mesh(self) -> trimesh.Trimesh:
        return trimesh.Trimesh(self.vertices, self.triangles(), process=False)

    def sampled(self) -> Floats:
        """Random points on the bilinear patches, each quad as often as its area asks."""
        corners = self.vertices[self.quads]
        p, q, r, s = (corners[:, i] for i in range(4))
        area = (
            np.linalg.norm(np.cross(q - p, r - p), axis=1) + np.linalg.norm(np.cross(r - p, s - p), axis=1)
        ) / 2
        rng = np.random.default_rng(SEED)
        of = rng.choice(len(area), SAMPLES, p=area / area.sum())
        u, v = rng.random((2, SAMPLES, 1))
        low, high = p[of] + u * (q - p)[of], s[of] + u * (r - s)[of]
        return low + v * (high - low)


def read_quads(path: Path) -> Quads:
    """Vertices in f64 and quads of an OBJ file."""
    vertices, quads = [], []
    for line in path.read_text().splitlines():
        word, *rest = line.split() or [""]
        if word == "v":
            vertices.append([float(x) for x in rest])
        elif word == "f":
            quads.append([int(x.partition("/")[0]) - 1 for x in rest])
    if not quads or any(len(q) != 4 for q in quads):
        raise Unusable(f"{path}: not all faces are quads")
    return Quads(np.array(vertices), np.array(quads, np.int64))


def distances(points: Floats, mesh: trimesh.Trimesh) -> tuple[Floats, Ints, Floats]:
    """Distance, nearest triangle and nearest point of each point, by libigl."""
    squared, triangles, nearest = igl.point_mesh_squared_distance(
        points, np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)
    )
    return np.sqrt(np.maximum(squared, 0)), triangles, nearest


def on_boundary(mesh: trimesh.Trimesh, triangles: Ints, points: Floats) -> NDArray[np.bool_]:
    """Whether points of triangles lie on an edge that has no other triangle."""
    edges = np.sort(mesh.faces[:, [1, 2, 2, 0, 0, 1]].reshape(-1, 2), axis=1)
    _, which, count = np.unique(edges, axis=0, return_inverse=True, return_counts=True)
    single = (count[which.ravel()] == 1).reshape(-1, 3)  # opposite corners 0, 1, 2
    weights = trimesh.triangles.points_to_barycentric(mesh.triangles[triangles], points)
    return (single[triangles] & (np.abs(weights) < 1e-9)).any(axis=1)


def check_measures(checks: Checks, name: str, measures: dict[str, Any], quads: Quads, sculpt: trimesh.Trimesh) -> None:
    """Distances both ways, counts and the mirror."""
    mesh = quads.mesh()
    pct = 100 / float(np.linalg.norm(np.ptp(np.asarray(sculpt.vertices), axis=0)))
    fit, reverse, counts = measures["fit"], measures["reverse"], measures["counts"]
    at_vertices, *_ = distances(quads.vertices, sculpt)
    checks.near(f"{name}: largest distance of a vertex, %", fit["vertices_max_pct"], at_vertices.max() * pct, EXACT)
    there, *_ = distances(quads.sampled(), sculpt)
    checks.near(f"{name}: RMS distance to the sculpt, %", fit["rms_pct"], float(np.sqrt((there**2).mean())) * pct, RMS)
    checks.near(f"{name}: 99th percentile, %", fit["p99_pct"], float(np.percentile(there, 99)) * pct, TAIL)
    points, _ = trimesh.sample.sample_surface(sculpt, SAMPLES, seed=SEED)
    back, triangles, nearest = distances(np.asarray(points, float), mesh)
    covered = back[~on_boundary(mesh, triangles, nearest)]
    checks.near(
        f"{name}: 99th percentile from the sculpt, %", reverse["p99_pct"], float(np.percentile(covered, 99)) * pct, TAIL
    )
    checks.near(f"{name}: mean edge", measures["size"]["mean_edge"], mean_edge(quads), EXACT)
    checks.that(f"{name}: vertices and faces", [counts["vertices"], counts["faces"]] == [len(quads.vertices), len(quads.quads)])
    # A diagonal adds an edge and a face: V - E + F stays.
    checks.that(f"{name}: Euler characteristic", counts["euler"] == mesh.euler_number, f"{counts['euler']}")
    checks.that(f"{name}: pieces", counts["components"] == mesh.body_count, f"{counts['components']}")


def mean_edge(quads: Quads) -> float:
    sides = np.sort(quads.quads[:, [0, 1, 1, 2, 2, 3, 3, 0]].reshape(-1, 2), axis=1)
    ends = quads.vertices[np.unique(sides, axis=0)]
    return float(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).mean())


def capped(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """The mesh with each opening closed by a fan of triangles round its centre."""
    vertices, faces = [np.asarray(mesh.vertices, float)], [np.asarray(mesh.faces, np.int64)]
    count = len(mesh.vertices)
    for loop in igl.boundary_loop_all(faces[0]):
        loop = np.asarray(loop)
        vertices.append(vertices[0][loop].mean(axis=0)[None])
        faces.append(np.stack([np.roll(loop, -1), loop, np.full(len(loop), count)], axis=1))
        count += 1
    return trimesh.Trimesh(np.concatenate(vertices), np.concatenate(faces), process=False)


def check_volume(checks: Checks, findings: dict[str, Any], quads: Quads, sculpt: trimesh.Trimesh) -> None:
    """Signed volumes with the openings closed: positive if normals face out."""
    ours, theirs = capped(quads.mesh()), capped(sculpt)
    checks.that("surface and sculpt close up", bool(ours.is_watertight and theirs.is_watertight))
    checks.that("faces wind one way", bool(ours.is_winding_consistent))
    checks.that("normals face out", ours.volume > 0 and theirs.volume > 0)
    told = [f["level"] == "pass" for f in findings["findings"] if f["code"] == "faces-outward"]
    checks.that("faces-outward says the same", told == [bool(ours.volume > 0)])
    checks.near("signed volume", float(ours.volume), float(theirs.volume), VOLUME)


def check_glb(checks: Checks, path: Path, quads: Quads) -> None:
    """What trimesh reads from the GLB file is the OBJ file's surface, in metres."""
    scene = trimesh.load(path, force="scene")
    mesh = scene.to_geometry()
    checks.that("GLB: two triangles a quad", len(mesh.faces) == 2 * len(quads.quads), f"{len(mesh.faces)}")
    obj = quads.mesh()
    # f32 in the one file, f64 in the other.
    checks.near("GLB: area, square metres", float(mesh.area), float(obj.area) * CENTIMETRES**2, 1e-4)
    far = np.abs(np.asarray(mesh.bounds) - np.asarray(obj.bounds) * CENTIMETRES).max()
    checks.that("GLB: bounding box", bool(far < 1e-6), f"{far:.1e} m off")


def check_mirror(checks: Checks, quads: Quads) -> None:
    """The set of vertices is its own mirror image about x = 0, to the bit."""
    image = quads.vertices * [-1, 1, 1] + 0.0
    rows = lambda points: set(map(bytes, np.ascontiguousarray(points + 0.0)))  # noqa: E731
    checks.that("mirror image is exact", rows(image) == rows(quads.vertices))


def pushed(quads: Quads, folder: Path) -> tuple[Quads, Path]:
    """The surface with every vertex pushed up to a third of an edge, and its file."""
    rng = np.random.default_rng(SEED)
    reach = mean_edge(quads) / 3
    vertices = quads.vertices + rng.uniform(-reach, reach, quads.vertices.shape)
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    lines += ["f " + " ".join(map(str, q)) for q in (quads.quads + 1).tolist()]
    path = folder / "pushed.obj"
    path.write_text("\n".join(lines) + "\n")
    return Quads(vertices, quads.quads), path


def measured(binary: Path, surface: Path, job: Path) -> dict[str, Any]:
    """What the binary measures of a surface."""
    words = [str(binary), "measure", str(surface), "--job", str(job), "--plane", "none", "--json"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise Unusable(f"{' '.join(words)}: {done.stderr}")
    return json.loads(done.stdout)["measures"]


def main() -> int:
    if len(sys.argv) != 3:
        print(__doc__, file=sys.stderr)
        return 2
    binary, folder = Path(sys.argv[1]), Path(sys.argv[2])
    checks = Checks()
    try:
        findings = json.loads((folder / "findings.json").read_text())
        sculpt = load(folder / "oilskin.ply")
        quads = read_quads(folder / "surface.obj")
        check_measures(checks, "surface", findings["measures"], quads, sculpt)
        check_mirror(checks, quads)
        check_volume(checks, findings, quads, sculpt)
        check_glb(checks, folder / "surface.glb", quads)
        moved, path = pushed(quads, folder)
        check_measures(checks, "pushed", measured(binary, path, folder / "coat.toml"), moved, sculpt)
    except (Unusable, OSError, KeyError, ValueError) as error:
        print(f"check_run.py: {error}", file=sys.stderr)
        return 2
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
