//! From raw triangles to a sculpt: welded, oriented, manifold, with its index.
//!
//! ```text
//! choose part ─▶ weld ─▶ link sides ─▶ take off flaps ─▶ wind pieces ─▶ choose pieces
//!             ─▶ flip flat triangles ─▶ part fans ─▶ fill pinholes ─▶ index
//! ```
//!
//! Takes any list of triangles. Gives a [`Sculpt`] in which every edge has one or two
//! triangles, which run it in opposite directions, and every vertex one fan. Positions
//! of the vertices that stay are never changed. Each defect is counted and named.
//! Cost n log n; about 60 bytes a triangle above the input while it runs.

mod error;
mod flats;
mod heavy;
mod holes;
mod pieces;
mod report;
mod shell;
mod source;
#[cfg(test)]
mod tests;
mod weld;

use std::ops::Range;
use std::sync::Arc;

use base::{Finding, Level, Task};
use mesh::{DVec3, SurfaceIndex, TriMesh, Vec3};

use crate::model::Sculpt;
pub use error::IntakeError;
use pieces::Pieces;
pub use report::IntakeReport;
use shell::{Linking, NONE, Shell};

/// Triangles as a file gave them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RawTriangles {
    /// Vertex positions, model units.
    pub positions: Vec<Vec3>,
    /// Vertex indices of each triangle.
    pub triangles: Vec<[u32; 3]>,
    /// Named parts, where the file has any.
    pub parts: Vec<RawPart>,
}

/// A named part of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawPart {
    /// Its name in the file.
    pub name: String,
    /// Its triangles, as ranges of indices.
    pub triangles: Vec<Range<u32>>,
}

/// Which of the file's pieces are the sculpt.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Part {
    /// The one connected piece with the largest area.
    #[default]
    Largest,
    /// A named part: all its pieces that have at least a hundredth of its largest piece's area.
    Named(String),
}

/// How to take a sculpt in.
#[derive(Clone, Debug, PartialEq)]
pub struct IntakeOptions {
    /// Which pieces to keep. `None` is [`Part::Largest`].
    pub part: Option<Part>,
    /// Whether small holes are filled: at most 64 edges and less than 2 % of the diagonal
    /// around, or at most 24 edges and less than 6 %. Default true.
    pub fill_holes: bool,
    /// Points on openings that stay however small they are, model units: the points of
    /// the job's opening guides. Default none.
    pub keep_open: Vec<DVec3>,
}

impl Default for IntakeOptions {
    fn default() -> Self {
        Self {
            part: None,
            fill_holes: true,
            keep_open: Vec::new(),
        }
    }
}

/// Share of the largest piece's area below which a piece of a named part is a floating bit.
const BIT_SHARE: f64 = 0.01;
/// Share above which a piece that was left out is worth a warning.
const NOTABLE_SHARE: f64 = 0.1;
/// Rounds of cutting before triangles are taken away at edges that stay entangled.
const CUT_ROUNDS: usize = 3;
/// Volume in areas to the power 3/2 (a ball has 0.094) from which "inside out" is certain.
const CLEAR_VOLUME: f64 = 0.01;

/// Takes a sculpt in.
///
/// # Errors
/// [`IntakeError`] for no triangles, bad indices or coordinates, an unknown part, a
/// sculpt without area, or cancelling.
pub fn run(
    raw: &RawTriangles,
    options: &IntakeOptions,
    task: &Task,
) -> Result<(Sculpt, IntakeReport), IntakeError> {
    task.report("intake", 0.0)?;
    let mut report = IntakeReport {
        triangles_in: raw.triangles.len(),
        vertices_in: raw.positions.len(),
        ..IntakeReport::default()
    };
    let chosen = source::choose_part(raw, options)?;
    let mut shell = source::weld_all(raw, chosen, &mut report)?;
    task.report("intake", 0.25)?;
    let linking = untangle(&mut shell, &mut report);
    task.report("intake", 0.4)?;
    let pieces = pieces::orient(&mut shell);
    choose_pieces(&mut shell, &pieces, options, &mut report)?;
    task.report("intake", 0.55)?;
    repair(&mut shell, &linking, &pieces, &mut report);
    // They have served; what follows needs the room.
    drop((linking, pieces));
    let size = living_diagonal(&shell);
    let holes = holes::close_small(&mut shell, size, options);
    note_holes(&holes, &mut report);
    task.report("intake", 0.7)?;
    let mesh = compact(shell);
    if mesh.triangles.is_empty() {
        return Err(IntakeError::NoArea);
    }
    report.triangles = mesh.triangles.len();
    report.vertices = mesh.positions.len();
    warn_inside_out(&mesh, holes.cap_volume, &mut report);
    let normals = Arc::new(mesh.vertex_normals());
    let mesh = Arc::new(mesh);
    let index = Arc::new(SurfaceIndex::new(Arc::clone(&mesh)));
    task.report("intake", 1.0)?;
    Ok((
        Sculpt {
            mesh,
            index,
            normals,
        },
        report,
    ))
}

fn diagonal<'a>(points: impl Iterator<Item = &'a Vec3>) -> f64 {
    let start = (Vec3::INFINITY, Vec3::NEG_INFINITY);
    let (low, high) = points.fold(start, |(low, high), p| (low.min(*p), high.max(*p)));
    (high.as_dvec3() - low.as_dvec3()).length()
}

fn living_diagonal(shell: &Shell) -> f64 {
    let corners = shell.living().flat_map(|t| shell.triangles[t]);
    diagonal(corners.map(|v| &shell.positions[v as usize]))
}

/// Links triangles across their sides and settles edges with more than two.
fn untangle(shell: &mut Shell, report: &mut IntakeReport) -> Linking {
    let linking = shell.link();
    let places: Vec<DVec3> = linking
        .copies
        .iter()
        .take(5)
        .map(|&t| shell.centre(t as usize))
        .collect();
    report.duplicate_triangles = linking.copies.len();
    let sentence = [
        "1 triangle lay on another and was dropped.",
        "# triangles lay on others and were dropped.",
    ];
    report.note(
        "duplicate-triangles",
        Level::Note,
        linking.copies.len(),
        sentence,
        &places,
    );
    let heavy = heavy::resolve(shell, &linking.heavy);
    report.nonmanifold_edges = linking.heavy.len();
    report.flaps = heavy.flaps;
    let sentence = [
        "1 edge had more than two triangles; the surface was parted there.",
        "# edges had more than two triangles; the surface was parted there.",
    ];
    report.note(
        "nonmanifold-edges",
        Level::Note,
        linking.heavy.len(),
        sentence,
        &heavy.places,
    );
    let sentence = [
        "1 small flap stood on an edge of the surface and was taken off.",
        "# small flaps stood on edges of the surface and were taken off.",
    ];
    report.note("flaps", Level::Note, heavy.flaps, sentence, &heavy.places);
    linking
}

/// Takes away the pieces that aren't wanted.
fn choose_pieces(
    shell: &mut Shell,
    pieces: &Pieces,
    options: &IntakeOptions,
    report: &mut IntakeReport,
) -> Result<(), IntakeError> {
    let list = &pieces.list;
    let mut largest = 0;
    for (i, piece) in list.iter().enumerate() {
        if piece.area > list[largest].area {
            largest = i;
        }
    }
    let Some(main) = list.get(largest) else {
        return Err(IntakeError::NoArea);
    };
    let stays = |i: usize| match options.part {
        Some(Part::Named(_)) => list[i].area >= BIT_SHARE * main.area,
        None | Some(Part::Largest) => i == largest,
    };
    let keep: Vec<bool> = (0..list.len()).map(stays).collect();
    for t in 0..shell.triangles.len() {
        if !shell.dead[t] && !keep[pieces.of[t] as usize] {
            shell.kill(t);
        }
    }
    report.pieces = list.len();
    let out = || (0..list.len()).filter(|&i| !keep[i]);
    report.pieces_left_out = out().count();
    report.triangles_left_out = out().map(|i| list[i].triangles).sum();
    let notable = out().any(|i| list[i].area >= NOTABLE_SHARE * main.area);
    let places: Vec<DVec3> = out().map(|i| list[i].at).take(5).collect();
    let level = if notable { Level::Warn } else { Level::Note };
    let advice = if notable {
        "; name a part of the file to choose another"
    } else {
        ""
    };
    let sentences =
        ["1 further piece was", "# further pieces were"].map(|s| format!("{s} left out{advice}."));
    let sentence = [sentences[0].as_str(), sentences[1].as_str()];
    report.note(
        "pieces-left-out",
        level,
        report.pieces_left_out,
        sentence,
        &places,
    );
    let kept = || (0..list.len()).filter(|&i| keep[i]);
    report.turned = kept().map(|i| list[i].turned).sum();
    let turned_at = pieces.turned_at.iter().filter(|e| keep[e.0 as usize]);
    let places: Vec<DVec3> = turned_at.map(|e| e.1).take(5).collect();
    let sentence = [
        "1 triangle faced the wrong way and was turned.",
        "# triangles faced the wrong way and were turned.",
    ];
    report.note(
        "turned-triangles",
        Level::Note,
        report.turned,
        sentence,
        &places,
    );
    report.twists = pieces.twists.len();
    let sentence = [
        "The surface has only one side; it was cut open along 1 edge.",
        "The surface has only one side; it was cut open along # edges.",
    ];
    report.note(
        "one-sided",
        Level::Warn,
        report.twists,
        sentence,
        &pieces.twists,
    );
    Ok(())
}

/// Flat triangles, fans that share a vertex, and what stays entangled after that.
fn repair(shell: &mut Shell, linking: &Linking, pieces: &Pieces, report: &mut IntakeReport) {
    let (flat, places) = flats::remove(shell);
    report.zero_area += flat;
    let sentence = [
        "1 triangle had its corners in line; its neighbour was split there instead.",
        "# triangles had their corners in line; their neighbours were split there instead.",
    ];
    report.note("flat-triangles", Level::Note, flat, sentence, &places);
    let (mut parted, mut places) = pieces::part_fans(shell);
    if !linking.heavy.is_empty() || !pieces.twists.is_empty() {
        for round in 0.. {
            let mut bad = shell.link().heavy;
            bad.extend(same_way(shell));
            if bad.is_empty() {
                break;
            }
            if round < CUT_ROUNDS {
                heavy::cut(shell, &bad);
            } else {
                // Each round takes triangles away, so that this ends.
                for edge in &bad {
                    edge[1..].iter().for_each(|&h| shell.kill(h as usize / 3));
                }
            }
            let (more, at) = pieces::part_fans(shell);
            parted += more;
            places.extend(at);
        }
    }
    report.parted_vertices = parted;
    let sentence = [
        "At 1 vertex separate parts of the surface touched; they were parted.",
        "At # vertices separate parts of the surface touched; they were parted.",
    ];
    report.note("parted-vertices", Level::Note, parted, sentence, &places);
}

/// Edges whose two triangles run them in the same direction.
fn same_way(shell: &Shell) -> Vec<Vec<u32>> {
    (0..shell.twin.len() as u32)
        .filter(|&h| shell.twin[h as usize] != NONE && h < shell.twin[h as usize])
        .filter(|&h| shell.from(h) == shell.from(shell.twin[h as usize]))
        .map(|h| vec![h, shell.twin[h as usize]])
        .collect()
}

fn note_holes(holes: &holes::Holes, report: &mut IntakeReport) {
    report.holes_filled = holes.filled.len();
    report.holes_left = holes.left.len();
    report.openings = holes.openings;
    let points = |list: &[(DVec3, usize)]| list.iter().map(|h| h.0).collect::<Vec<_>>();
    let sentence = ["1 small hole was filled.", "# small holes were filled."];
    report.note(
        "holes-filled",
        Level::Note,
        report.holes_filled,
        sentence,
        &points(&holes.filled),
    );
    let sentence = [
        "1 small hole was left open.",
        "# small holes were left open.",
    ];
    report.note(
        "holes-left",
        Level::Warn,
        report.holes_left,
        sentence,
        &points(&holes.left),
    );
}

/// The living triangles and the vertices that they use, in their old order.
fn compact(shell: Shell) -> TriMesh {
    let Shell {
        positions,
        mut triangles,
        dead,
        twin,
    } = shell;
    drop(twin);
    let mut t = 0;
    triangles.retain(|_| {
        t += 1;
        !dead[t - 1]
    });
    let mut name = vec![NONE; positions.len()];
    triangles
        .iter()
        .flatten()
        .for_each(|&v| name[v as usize] = 0);
    let mut kept = Vec::new();
    for v in 0..positions.len() {
        if name[v] != NONE {
            name[v] = kept.len() as u32;
            kept.push(positions[v]);
        }
    }
    for corners in &mut triangles {
        *corners = corners.map(|v| name[v as usize]);
    }
    TriMesh {
        positions: kept,
        triangles,
    }
}

/// Open pieces keep their winding; say so if it looks wrong.
fn warn_inside_out(mesh: &TriMesh, cap_volume: f64, report: &mut IntakeReport) {
    let six_volumes: f64 = (0..mesh.triangles.len())
        .map(|t| {
            let [a, b, c] = mesh.corners(t);
            a.dot(b.cross(c))
        })
        .sum();
    let volume = (six_volumes + cap_volume) / 6.0;
    let clear = CLEAR_VOLUME * mesh.area().powf(1.5);
    if volume < -clear {
        let sentence = "The sculpt looks inside out: most of its triangles face inward. Turn its faces in the modelling program.";
        report
            .findings
            .push(Finding::new("inside-out", Level::Warn, sentence));
    }
}
