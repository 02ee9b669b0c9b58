//! Files: sculpt readers, surface writers, the job file, the set file of a figure.
//!
//! ```text
//! job file ───▶ JobFile ─────▶ JobSpec ───▶ (stages) ─▶ QuadMesh
//! sculpt file ▶ read_sculpt ─▶ RawSculpt ─▶ (intake)       │
//!                                 surface file ◀─ obj_text, glb, write_whole
//! surface file ▶ read_quads ──▶ QuadMesh ──▶ (check)
//! ```
//!
//! ```
//! use loopwright_files::{obj_text, parse_sculpt};
//! use mesh::{DVec3, QuadMesh};
//! let positions = vec![DVec3::ZERO, DVec3::X, DVec3::new(1.0, 1.0, 0.0), DVec3::Y];
//! let mesh = QuadMesh { positions, quads: vec![[0, 1, 2, 3]], groups: vec![] };
//! let sculpt = parse_sculpt("patch.obj".as_ref(), &obj_text(&mesh, "a patch")).unwrap();
//! assert_eq!(sculpt.triangles.len(), 2);
//! ```

mod either;
mod figure;
mod job;
mod sculpt;
mod write;

pub use either::JobOrSet;
pub use figure::{FigureFile, FigurePart, FigureSpec, PartFrom, Share};
pub use job::{
    AreaSize, AreaSpec, ChangeSpec, DEFAULT_ADAPT, DEFAULT_FACES, DEFAULT_HARD_ANGLE,
    DEFAULT_UNITS, DENSITY, DensitySpec, EditSpec, FACES, FLARE, GuideKind, GuideSpec, HARD_ANGLE,
    HoldSpec, JobError, JobFault, JobFile, JobProblem, JobSpec, KeepOutPlace, KeepOutSpec,
    LARGEST_COUNT, LARGEST_RELAX, LOOPS, LayerSide, LayerSpec, LineColumn, LiningSpec, PartSpec,
    PinSpec, PlaneSpec, QUADS, RegionSpec, SculptSpec, ShadingSpec, Sides, Size, SymmetrySpec,
    TRIM_LOOPS, TrimDirection, TrimEdge, TrimEnd, TrimFront, TrimKind, TrimSide, TrimSpec,
    metres_per_unit,
};
pub use sculpt::{
    Held, RawPart, RawSculpt, ReadError, ReadNotes, ReadProblem, SculptFormat, Spot, parse_held,
    parse_quads, parse_sculpt, read_grouped_quads, read_held, read_quads, read_sculpt,
    read_with_sculpt,
};
pub use write::{
    EncodeError, GlbOptions, GlbPart, MirrorPlane, WriteError, check_writable, glb, held_text,
    obj_text, ply_bytes, shaded_obj_text, symmetric_triangles, write_all_or_none, write_whole,
};
