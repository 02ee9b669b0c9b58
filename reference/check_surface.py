#!/usr/bin/env python3
"""Measure a quad surface (OBJ) against its sculpt with libraries that share no code with Loopwright.

Reads both files with trimesh, measures distances with libigl and, on a sample of the points,
again with trimesh: the two must agree. Areas and volumes come from both libraries too.
Prints JSON; lengths are in the files' unit, "pct" is percent of the diagonal of the
sculpt's bounding box.

usage: check_surface.py SURFACE.obj SCULPT.ply [--limit PATH=VALUE]... [--expect PATH=VALUE]... [--tolerance T]

--limit distance.surface_to_sculpt.rms_pct=0.5     the value must be at most this
--expect sculpt.triangles=200000                   the value must be this, within the
                                                   relative tolerance (default 1e-6)
Exit status: 0 all hold, 1 some don't, 2 a file or argument can't be used.
"""
from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import igl
import numpy as np
import trimesh
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SAMPLES = 50_000
DOUBLE_CHECKED = 500  # points measured by both libraries
SEED = 7
AGREE = 1e-6  # of the diagonal: f64 against f64, with room for the order of operations
# trimesh takes candidates whose squared distances differ by less than 1e-8 as equally near,
# whatever the unit. At this diagonal that is 1e-4 in length, a tenth of what AGREE allows.
DIAGONAL_FOR_TRIMESH = 1000.0


class Unusable(Exception):
    """A file or argument that can't be used."""


def load(path: Path) -> trimesh.Trimesh:
    """A mesh as it stands in the file: no merging, no reordering; polygons are split."""
    try:
        mesh = trimesh.load(path, process=False, maintain_order=True, force="mesh")
    except Exception as error:  # the loaders raise whatever they like
        raise Unusable(f"{path}: {error}") from error
    if len(mesh.faces) == 0:
        raise Unusable(f"{path}: no faces")
    return mesh


def facts(mesh: trimesh.Trimesh) -> dict[str, Any]:
    """Counts, area and, if the mesh is closed, volume; area and volume by both libraries."""
    vertices, faces = np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)
    area_igl = float(igl.doublearea(vertices, faces).sum() / 2)
    closed = bool(mesh.is_watertight)
    volume_igl = float(igl.centroid(vertices, faces)[1]) if closed else None
    return {
        "vertices": len(vertices),
        "triangles": len(faces),
        "area": float(mesh.area),
        "area_agrees": bool(np.isclose(area_igl, mesh.area, rtol=AGREE)),
        "closed": closed,
        "volume": float(mesh.volume) if closed else None,
        "volume_agrees": bool(np.isclose(volume_igl, mesh.volume, rtol=AGREE)) if closed else True,
        "low": vertices.min(axis=0).tolist(),
        "high": vertices.max(axis=0).tolist(),
    }


def sampled(mesh: trimesh.Trimesh) -> Floats:
    """Random points on the faces, evenly by area."""
    points, _ = trimesh.sample.sample_surface(mesh, SAMPLES, seed=SEED)
    return np.asarray(points, float)


def distances(points: Floats, mesh: trimesh.Trimesh, diagonal: float) -> dict[str, Any]:
    """Statistics of the points' distances to a mesh."""
    vertices, faces = np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)
    squared, *_ = igl.point_mesh_squared_distance(points, vertices, faces)
    lengths = np.sqrt(np.maximum(squared, 0))
    some = np.linspace(0, len(points) - 1, DOUBLE_CHECKED).astype(int)
    scale = DIAGONAL_FOR_TRIMESH / diagonal
    scaled = trimesh.Trimesh(vertices * scale, faces, process=False)
    _, again, _ = trimesh.proximity.closest_point(scaled, points[some] * scale)
    again = again / scale
    rms = float(np.sqrt(np.mean(lengths**2)))
    return {
        "rms": rms,
        "rms_pct": 100 * rms / diagonal,
        "p95": float(np.percentile(lengths, 95)),
        "max": float(lengths.max()),
        "max_pct": 100 * float(lengths.max()) / diagonal,
        "libraries_agree": bool(np.abs(again - lengths[some]).max() <= AGREE * diagonal),
    }


def measure(surface: trimesh.Trimesh, sculpt: trimesh.Trimesh) -> dict[str, Any]:
    diagonal = float(np.linalg.norm(np.ptp(np.asarray(sculpt.vertices), axis=0)))
    return {
        "surface": facts(surface),
        "sculpt": facts(sculpt),
        "diagonal": diagonal,
        "distance": {
            "vertices_to_sculpt": distances(np.asarray(surface.vertices, float), sculpt, diagonal),
            "surface_to_sculpt": distances(sampled(surface), sculpt, diagonal),
            "sculpt_to_surface": distances(sampled(sculpt), surface, diagonal),
        },
    }


def value_at(report: dict[str, Any], path: str) -> float:
    value: Any = report
    for key in path.split("."):
        if not isinstance(value, dict) or key not in value:
            raise Unusable(f"the report has no value '{path}'")
        value = value[key]
    if not isinstance(value, (int, float)):
        raise Unusable(f"'{path}' is {value!r}, not a number")
    return float(value)


def assignments(texts: list[str]) -> list[tuple[str, float]]:
    try:
        return [(path, float(value)) for path, value in (text.split("=", 1) for text in texts)]
    except ValueError as error:
        raise Unusable(f"not PATH=NUMBER: {error}") from error


def disagreements(report: dict[str, Any], where: str = "") -> list[str]:
    """Paths of all checks of one library against the other that failed."""
    found = []
    for key, value in report.items():
        path = f"{where}.{key}" if where else key
        if isinstance(value, dict):
            found += disagreements(value, path)
        elif key.endswith(("agree", "agrees")) and not value:
            found.append(path)
    return found


def failures(report: dict[str, Any], args: argparse.Namespace) -> list[str]:
    found = [f"{path}: the libraries disagree" for path in disagreements(report)]
    for path, limit in assignments(args.limit):
        value = value_at(report, path)
        if not value <= limit:
            found.append(f"{path} is {value:g}, more than {limit:g}")
    for path, wanted in assignments(args.expect):
        value = value_at(report, path)
        if not np.isclose(value, wanted, rtol=args.tolerance, atol=0):
            found.append(f"{path} is {value:.9g}, not {wanted:.9g}")
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("surface", type=Path)
    parser.add_argument("sculpt", type=Path)
    parser.add_argument("--limit", action="append", default=[], metavar="PATH=VALUE")
    parser.add_argument("--expect", action="append", default=[], metavar="PATH=VALUE")
    parser.add_argument("--tolerance", type=float, default=1e-6)
    args = parser.parse_args()
    try:
        report = measure(load(args.surface), load(args.sculpt))
        found = failures(report, args)
    except Unusable as error:
        print(error, file=sys.stderr)
        return 2
    print(json.dumps(report, indent=2))
    for line in found:
        print(line, file=sys.stderr)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
