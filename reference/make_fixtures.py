#!/usr/bin/env python3
"""Write crates/files/tests/data: one regular icosahedron of edge 2, written by trimesh in
each format that Loopwright reads. The tests hold what the readers give against the handbook's
formulas for area and volume, so neither side's code decides.

usage: make_fixtures.py [FOLDER]
"""
from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import trimesh

EDGE = 2.0


def icosahedron() -> trimesh.Trimesh:
    """Corners at (0, +-1, +-g) and cyclic, g the golden ratio: edges have length 2."""
    mesh = trimesh.creation.icosahedron()
    mesh.apply_scale(EDGE / mesh.edges_unique_length[0])
    return mesh


def main() -> None:
    here = Path(__file__).resolve().parent
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else here.parent / "crates/files/tests/data"
    folder.mkdir(parents=True, exist_ok=True)
    mesh = icosahedron()
    mesh.export(folder / "binary.ply", encoding="binary")
    mesh.export(folder / "ascii.ply", encoding="ascii")
    mesh.export(folder / "plain.obj")
    mesh.export(folder / "binary.stl")
    mesh.export(folder / "ascii.stl", file_type="stl_ascii")
    # Stored at half size and turned: the node's transform brings it back.
    scene = trimesh.Scene()
    half = mesh.copy()
    half.apply_scale(0.5)
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3], [4, 5, 6])
    scene.add_geometry(half, node_name="lamp", geom_name="crystal", transform=turn @ np.diag([2.0, 2.0, 2.0, 1.0]))
    scene.export(folder / "scene.glb")
    for name, content in scene.export(file_type="gltf", embed_buffers=False).items():
        (folder / ("scene.gltf" if name.endswith(".gltf") else name)).write_bytes(content)


if __name__ == "__main__":
    main()
