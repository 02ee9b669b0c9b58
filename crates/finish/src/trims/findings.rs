//! What trims are held to. Thickness is measured from wall to wall, whatever made the walls.

use std::sync::Arc;

use base::{Finding, Findings, Level, Place, Task};
use engine::check::{self, CheckError, MirrorMeasures};
use engine::model::Plane;
use mesh::{Closest, DVec3, QuadMesh, SurfaceIndex, TriMesh};

use super::relay::Form;
use super::weave::{Walls, Woven, is_within};
use super::{Placed, Side, TrimError};

/// Thickness is as asked within this share,
const NEAR: f64 = 0.05;
/// on this share of the walls.
pub(crate) const MOST: f64 = 0.99;
/// A band is as high as asked within this share.
const HEIGHT: f64 = 0.1;
/// It lies no further off the cloth than this share of its height.
const OFF: f64 = 0.5;
/// Samples along each side of a quad.
const SIDE: usize = 3;

/// Images lie within this of where they are computed from the other side, edges: 0 for the planes of
/// coordinates, rounding for slanted ones.
const IMAGE: f64 = 1e-9;
/// A point is on a triangle's edge if one of its weights is less than this.
const EDGE: f64 = 1e-4;
/// A way is square to a wall within 10°.
const SQUARE: f64 = 0.985;

/// One place on a wall.
pub(super) struct Sample {
    pub at: DVec3,
    /// Weights of its quad's corners.
    pub weights: [f64; 4],
    normal: DVec3,
    /// Share of the quad's area that it stands for.
    area: f64,
}

/// How a trim came out.
pub(crate) struct Thickness {
    /// Share of the walls on which it is as asked.
    pub share: f64,
    /// Share of the walls that face away from the other wall.
    pub facing: f64,
    /// Least and greatest, model units.
    pub range: [f64; 2],
    /// Where it is furthest from what was asked.
    pub worst: DVec3,
}

/// What is measured.
pub(super) struct Measured<'a> {
    /// The surface with its trims, wherever its vertices are by now.
    pub surface: &'a QuadMesh,
    /// Quads of the surface without trims.
    pub own: u32,
    pub plane: Option<Plane>,
    /// Whether trims could follow a sculpt.
    pub sculpted: bool,
    /// Quads that have no image, rising.
    pub unpaired: &'a [u32],
}

/// Findings of all trims.
pub(super) fn of(
    measured: &Measured<'_>,
    trims: &[Placed],
    woven: &Woven,
    task: &Task,
) -> Result<Findings, TrimError> {
    let mut findings = Findings::default();
    let (input, own) = (measured, measured.own);
    for ((number, walls), form) in woven.made.iter().zip(&woven.laid) {
        task.checkpoint()?;
        let trim = &trims[*number].trim;
        let measured = thickness(
            input.surface,
            trim.thickness,
            walls,
            is_within(trim).then_some(own),
        );
        let label = match form {
            Form::Lap(_) => format!("The lap of trim '{}' ({})", trim.name, trim.kind.word()),
            _ => format!("Trim '{}' ({})", trim.name, trim.kind.word()),
        };
        let place = Place::Point {
            at: measured.worst.to_array(),
        };
        let [least, most] = measured.range;
        let sentence = format!(
            "{label}: {:.1} % of its walls are {} apart within 5 % ({least:.3} to {most:.3}).",
            100.0 * measured.share,
            trim.thickness
        );
        let holds = measured.share >= MOST;
        findings.push(held(
            "trim-thickness",
            holds,
            sentence,
            measured.share,
            MOST,
            place.clone(),
        ));
        let holds = measured.facing >= 1.0;
        let sentence = match holds {
            true => format!("{label}: both walls face away from each other all over."),
            false => format!("{label}: its walls don't face away from each other all over."),
        };
        findings.push(held(
            "trim-facing",
            holds,
            sentence,
            measured.facing,
            1.0,
            place,
        ));
        if let Form::Band(band) = form {
            let heights = band.heights(&input.surface.positions);
            let off = band.off(&input.surface.positions);
            findings.push(height(&label, trim.height, heights, off));
        }
        if let (Form::Edge(_), [rows, followed], Side::Beyond) = (form, walls.followed, trim.side) {
            let sentence = match followed {
                0 if trim.follow && input.sculpted => {
                    format!("{label} is built from its numbers: the sculpt doesn't go on there.")
                }
                0 => format!("{label} is built from its numbers."),
                n if n == rows => format!("{label} follows the sculpt over its whole height."),
                n => format!(
                    "{label} follows the sculpt for {n} of its {rows} rows, then its numbers."
                ),
            };
            let finding = Finding::new("trim-follows", Level::Note, sentence);
            findings.push(finding.measured(followed as f64, None));
        }
    }
    whole(input, &mut findings)?;
    Ok(findings)
}

/// How high a band is, whose edges keep to the cloth's rows, and how far it lies off the cloth.
fn height(label: &str, asked: f64, [least, most]: [f64; 2], lies_off: f64) -> Finding {
    let off = (most - asked).abs().max((asked - least).abs());
    let why = match (off <= HEIGHT * asked, lies_off <= OFF * asked) {
        (true, true) => "",
        (false, true) => {
            ": the rows of quads beneath it are too uneven. Move the guide, or ask for quads of one size there"
        }
        (_, false) => {
            ": the cloth beneath it is folded. Move the guide, or ask for smaller quads there"
        }
    };
    let level = if why.is_empty() {
        Level::Pass
    } else {
        Level::Warn
    };
    let sentence = format!(
        "{label} is {least:.3} to {most:.3} high, {asked} asked, and lies up to {lies_off:.3} off the cloth{why}."
    );
    Finding::new("trim-height", level, sentence).measured(off / asked, Some(HEIGHT))
}

/// What holds of the trimmed surface as a whole.
fn whole(input: &Measured<'_>, findings: &mut Findings) -> Result<(), TrimError> {
    let sound = check::soundness(input.surface, None)?;
    let mirror = mirror_of(input.surface, input.plane, input.unpaired)?;
    let own = input.own;
    let faults = sound.counts.faults();
    let sentence = match faults {
        0 => format!(
            "With its trims the surface has {} quads, is manifold and faces one way all over.",
            input.surface.quads.len()
        ),
        n => format!(
            "With its trims the surface has {n} edges or vertices that aren't manifold or face both ways."
        ),
    };
    findings.push(level(
        "trim-manifold",
        faults == 0,
        sentence,
        faults as f64,
        0.0,
    ));
    let new: Vec<_> = sound
        .crossings
        .iter()
        .filter(|p| p.iter().any(|&q| q >= own))
        .collect();
    let sentence = match new.len() {
        0 => "Trims pass through nothing.".to_owned(),
        n => format!("Trims pass through the surface or each other in {n} places."),
    };
    let mut finding = level("trim-cuts", new.is_empty(), sentence, new.len() as f64, 0.0);
    for pair in new.iter().take(8) {
        let id = pair[0].max(pair[1]);
        let at = input.surface.centre(id as usize).to_array();
        finding = finding.at(Place::Face { id, at });
    }
    findings.push(finding);
    if let Some(mirror) = mirror {
        let holds = mirror.error <= IMAGE && mirror.faces_missing == 0;
        let sentence = match holds {
            true => format!(
                "With its trims the surface is its own exact mirror image{}.",
                but_for(input.surface, input.unpaired)
            ),
            false => format!(
                "With its trims {} quads have no exact mirror image.",
                mirror.faces_missing
            ),
        };
        findings.push(level(
            "trim-mirror",
            holds,
            sentence,
            mirror.faces_missing as f64,
            0.0,
        ));
    }
    Ok(())
}

/// How exactly a surface is its own mirror image without its unpaired quads, which rise.
pub(crate) fn mirror_of(
    surface: &QuadMesh,
    plane: Option<Plane>,
    unpaired: &[u32],
) -> Result<Option<MirrorMeasures>, CheckError> {
    let Some(plane) = plane else {
        return Ok(None);
    };
    let mut paired = QuadMesh::default();
    let mut place = vec![None; surface.positions.len()];
    for (_, quad) in (0..)
        .zip(&surface.quads)
        .filter(|(q, _)| unpaired.binary_search(q).is_err())
    {
        let corner = |v: u32| {
            *place[v as usize].get_or_insert_with(|| {
                paired.positions.push(surface.positions[v as usize]);
                paired.positions.len() as u32 - 1
            })
        };
        paired.quads.push(quad.map(corner));
    }
    Ok(check::soundness(&paired, Some(plane))?.mirror)
}

/// Which groups have no image, for a sentence.
pub(crate) fn but_for(surface: &QuadMesh, unpaired: &[u32]) -> String {
    let has = |quads: &[u32]| quads.iter().any(|q| unpaired.binary_search(q).is_ok());
    let groups = surface.groups.iter().filter(|group| has(&group.quads));
    let names: Vec<String> = groups.map(|group| format!("'{}'", group.name)).collect();
    match names.is_empty() {
        true => String::new(),
        false => format!(", but for the lap in group {}", names.join(", ")),
    }
}

fn level(code: &str, holds: bool, sentence: String, value: f64, limit: f64) -> Finding {
    let level = if holds { Level::Pass } else { Level::Fail };
    Finding::new(code, level, sentence).measured(value, Some(limit))
}

fn held(
    code: &str,
    holds: bool,
    sentence: String,
    value: f64,
    limit: f64,
    place: Place,
) -> Finding {
    let finding = level(code, holds, sentence, value, limit);
    if holds { finding } else { finding.at(place) }
}

/// Measures from wall to wall: at even places of each wall the distance to the nearest point of
/// the other. Where the outer wall is the surface's own, its first `own` quads are part of it.
pub(crate) fn thickness(mesh: &QuadMesh, asked: f64, walls: &Walls, own: Option<u32>) -> Thickness {
    let mut outer = walls.outer.clone();
    outer.extend(0..own.unwrap_or(0));
    let [index_outer, index_inner] = [&outer, &walls.inner].map(|quads| index(mesh, quads));
    let mut pairs = vec![(&walls.inner, &index_outer)];
    if own.is_none() {
        pairs.push((&walls.outer, &index_inner));
    }
    let mut found = Thickness {
        share: 1.0,
        facing: 1.0,
        range: [f64::INFINITY, 0.0],
        worst: DVec3::ZERO,
    };
    let (mut all, mut near, mut facing, mut furthest) = (0.0, 0.0, 0.0, -1.0);
    for (quads, other) in pairs {
        for sample in quads.iter().flat_map(|&q| samples(mesh, q)) {
            let Some(hit) = opposite(&sample, other) else {
                continue;
            };
            let way = hit.point - sample.at;
            all += sample.area;
            let off = (hit.distance - asked).abs();
            if off <= NEAR * asked {
                near += sample.area;
            }
            if way.dot(sample.normal) < 0.0 {
                facing += sample.area;
            }
            if off > furthest {
                (furthest, found.worst) = (off, sample.at);
            }
            found.range = [
                found.range[0].min(hit.distance),
                found.range[1].max(hit.distance),
            ];
        }
    }
    if all > 0.0 {
        // Sums in one order: the same share for what is all of it.
        found.share = near / all;
        found.facing = facing / all;
    }
    found
}

/// The place of the other wall that is opposite a place, if one is.
pub(super) fn opposite(sample: &Sample, other: &SurfaceIndex) -> Option<Closest> {
    let hit = other.closest(sample.at)?;
    let way = hit.point - sample.at;
    // The outside of a corner lies opposite an edge, square to neither wall. The inside of
    // it, on the other wall, is measured.
    let on_edge = hit.barycentric.iter().any(|b| *b < EDGE);
    let square = way.dot(sample.normal).abs() >= SQUARE * way.length();
    (!on_edge || square).then_some(hit)
}

/// Cells along each side of a quad in which its bilinear patch counts as flat.
const CELLS: usize = 4;

/// A wall as triangles close to its quads' bilinear patches: of a bent quad either diagonal lies off
/// the patch, and two walls needn't be cut along the same one.
pub(super) fn index(mesh: &QuadMesh, quads: &[u32]) -> SurfaceIndex {
    let across = CELLS + 1;
    let mut positions = Vec::with_capacity(across * across * quads.len());
    let mut triangles = Vec::with_capacity(2 * CELLS * CELLS * quads.len());
    for &quad in quads {
        let first = positions.len() as u32;
        let p = mesh.quads[quad as usize].map(|v| mesh.positions[v as usize]);
        let place = |k: usize| {
            let weights = bilinear(k % across, k / across);
            (0..4).map(|i| weights[i] * p[i]).sum::<DVec3>().as_vec3()
        };
        positions.extend((0..across * across).map(place));
        for cell in 0..CELLS * CELLS {
            let at = |dx: usize, dy: usize| {
                first + ((cell / CELLS + dy) * across + cell % CELLS + dx) as u32
            };
            triangles.push([at(0, 0), at(1, 0), at(1, 1)]);
            triangles.push([at(0, 0), at(1, 1), at(0, 1)]);
        }
    }
    SurfaceIndex::new(Arc::new(TriMesh {
        positions,
        triangles,
    }))
}

/// Weights of a quad's corners at a corner of its cells.
fn bilinear(x: usize, y: usize) -> [f64; 4] {
    let [u, v] = [x, y].map(|k| k as f64 / CELLS as f64);
    [(1.0 - u) * (1.0 - v), u * (1.0 - v), u * v, (1.0 - u) * v]
}

/// Which of the quads of an [`index`] a place is on, and the weights of its corners there.
pub(super) fn place_of(hit: &Closest) -> (usize, [f64; 4]) {
    let per_quad = 2 * CELLS * CELLS;
    let (quad, triangle) = (
        hit.triangle as usize / per_quad,
        hit.triangle as usize % per_quad,
    );
    let (x, y) = (triangle / 2 % CELLS, triangle / 2 / CELLS);
    let corners = match triangle % 2 {
        0 => [(x, y), (x + 1, y), (x + 1, y + 1)],
        _ => [(x, y), (x + 1, y + 1), (x, y + 1)],
    };
    let mut weights = [0.0; 4];
    for ((x, y), share) in corners.into_iter().zip(hit.barycentric) {
        let each = weights.iter_mut().zip(bilinear(x, y));
        each.for_each(|(sum, weight)| *sum += share * weight);
    }
    (quad, weights)
}

/// Evenly spread places of a quad, on its bilinear patch.
pub(super) fn samples(mesh: &QuadMesh, quad: u32) -> Vec<Sample> {
    let [a, b, c, d] = mesh.quads[quad as usize].map(|v| mesh.positions[v as usize]);
    let face = (c - a).cross(d - b) / 2.0;
    let n = SIDE as f64;
    let place = |k: usize| {
        let u = ((k % SIDE) as f64 + 0.5) / n;
        let v = ((k / SIDE) as f64 + 0.5) / n;
        Sample {
            at: a.lerp(b, u).lerp(d.lerp(c, u), v),
            weights: [(1.0 - u) * (1.0 - v), u * (1.0 - v), u * v, (1.0 - u) * v],
            normal: face.normalize_or_zero(),
            area: face.length() / (n * n),
        }
    };
    (0..SIDE * SIDE).map(place).collect()
}
